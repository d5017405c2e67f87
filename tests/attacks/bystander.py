"""Another client, that asks again and again while something is tried: how long did it have to wait?"""

import threading
import time
from types import TracebackType
from typing import Self

from tests.attacks.ground import Ground
from tests.attacks.line import AttackLine

PATIENCE = 2.5
"""Seconds that two replies may take meanwhile; what was measured is in DEVELOPERS.md."""


class Bystander:
    """A context manager. `worst` is the longest time that one of its requests took, in seconds."""

    def __init__(self, ground: Ground) -> None:
        self.worst = 0.0
        self.asked = 0
        self._line = AttackLine(ground.host, ground.port)
        self._over = threading.Event()
        self._failure = ""
        self._thread = threading.Thread(target=self._ask)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join()
        self._line.close()
        assert not self._failure, self._failure
        assert self.asked

    def _ask(self) -> None:
        while not self._over.is_set() or not self.asked:
            begun = time.monotonic()
            try:
                said = self._line.ask("NOOP x"), self._line.ask("PICK far:small.json - $.v")
            except Exception as error:  # noqa: BLE001 - told by whoever joins the thread
                self._failure = f"a bystander was not answered: {error}"
                return
            self.worst = max(self.worst, time.monotonic() - begun)
            self.asked += 1
            if said != ("200 x", "200 small"):
                self._failure = f"a bystander was answered {said}"
                return
            self._over.wait(0.01)
