"""orders on standard input -> a gateway in this process whose calls fail as told, and what it leaves behind.

A line is a JSON list: an order's name and its arguments; the answer is a JSON value on a line. Started by
`trial.Host`.
"""

import asyncio
import importlib
import json
import logging
import sys
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from tests.torture.inside import rewriting, seams
from tests.torture.inside.points import TORTURE, Armed, Point

_PATIENCE: Final = 20.0
_REST_SECONDS: Final = 3.0  # for what is ending to end
_PAUSE_SECONDS: Final = 0.3  # the same, where nobody knows what will stay
_LOOK_SECONDS: Final = 0.02
_SHORT: Final = {
    "GUARD_SECONDS": 0.1,
    "LOGIN_DELAY_SECONDS": 0.1,
    "STREAM_QUIET_SECONDS": 0.05,
    "STREAM_CLOSE_SECONDS": 0.5,
    "LINGER_SECONDS": 0.5,
    "STOP_MARGIN_SECONDS": 0.5,
    "DEVICE_RETRY_SECONDS": 0.1,
    "DEVICE_REST_SECONDS": 0.1,
    "DEVICE_DRAIN_SECONDS": 0.2,
}
"""Limits that are shorter here, as they would only be waited for."""


class Host:
    """One gateway at a time."""

    def __init__(self) -> None:
        self._ports: set[int] = set()
        seams.install(self._ports)
        from adapters import limits
        from gateway.service.members import passwords
        from gateway.testing.background import Background
        from tests.torture.ground import HASHER, WAIT
        from tests.torture.inside import remains

        passwords._HASHER = HASHER  # type: ignore[misc]
        for name, value in _SHORT.items():
            setattr(limits, name, value)
        limits.STREAM_ANSWER_SECONDS = 0.05 * WAIT  # type: ignore[misc]
        remains.count_turns()
        self._remains = remains
        self._loop = Background("tortured")
        self._state = Path()
        self._before: Counter[str] = Counter()
        self._complaints: list[str] = []
        self._line: object = None  # a serial line's last session
        self._sittings = 0

    # Orders

    def start(self, config: str) -> int:
        """A gateway of its catalogue, whose state folder is new; its port, 0 at a serial line."""
        self._before = self._shared()
        self._complaints.clear()
        return self._loop.run(self._start(Path(config)), _PATIENCE)

    def step(self, name: str) -> None:
        """What is asked from now on."""
        TORTURE.step(name)

    def arm(self, site: str, step: str, nth: int, error: str, for_good: bool) -> int:
        """That point fails from now on."""
        return TORTURE.arm(Armed(Point(site, step, nth), error, for_good))

    def disarm(self) -> int:
        """Nothing fails any more; how often it has."""
        return TORTURE.arm(None)

    def points(self) -> list[tuple[str, str, int]]:
        """Site, step and count of all calls since `arm` or `disarm`."""
        return [(site, step, count) for (site, step), count in TORTURE.counts.items()]

    def break_it(self, module: str, name: str) -> None:
        """A function of the gateway does nothing from now on: a fault that is to be found."""
        setattr(importlib.import_module(module), name, lambda *_, **__: None)

    def sitting(self) -> int:
        """The number of the session on the serial line; 0 where there is none, -1 where it is not open."""
        return self._loop.run(self._sitting(), _PATIENCE)

    def left(self, usual: Mapping[str, int] | None) -> dict[str, int]:
        """What is there beyond the usual, once all that is ending has ended; for None all of it."""
        return self._loop.run(self._left(usual), _PATIENCE)

    def stop(self) -> dict[str, int]:
        """End it; what of it is still there then."""
        return self._loop.run(self._stop(), _PATIENCE)

    def complaints(self) -> list[str]:
        """What asyncio said of exceptions that nobody looked at, since `start`."""
        return list(self._complaints)

    # On the loop

    async def _start(self, config: Path) -> int:
        from gateway.commands.wiring import Parts, read_catalogue
        from gateway.service.server import Server

        catalogue = read_catalogue(config)
        self._state = Path(catalogue.gateway.state)
        self._parts = Parts(catalogue)
        self._server = Server(catalogue, self._parts.answers, accounts=self._parts.accounts)
        bound = await self._server.start()
        self._ports.clear()
        self._ports.add(bound[0].port)
        loop = asyncio.get_running_loop()
        until = loop.time() + _REST_SECONDS
        while catalogue.listeners[0].device is not None and await self._sitting() < 1 and loop.time() < until:  # noqa: ASYNC110
            await asyncio.sleep(_LOOK_SECONDS)
        loop.set_exception_handler(lambda _, context: self._complaints.append(_told(context)))
        return bound[0].port

    async def _sitting(self) -> int:
        lines = [door.device._line for door in self._server._doors.values() if door.device is not None]
        if not lines or lines[0] is None:
            there = any(name.startswith("/dev/pts/") for name in self._remains.descriptors())
            return 0 if there else -1
        if lines[0] is not self._line:
            self._line = lines[0]
            self._sittings += 1
        return self._sittings

    async def _left(self, usual: Mapping[str, int] | None) -> dict[str, int]:
        if usual is None:
            await asyncio.sleep(_PAUSE_SECONDS)
            return dict(self._all())
        return await self._settled(self._all, usual)

    async def _settled(self, look: Callable[[], Counter[str]], usual: Mapping[str, int]) -> dict[str, int]:
        loop = asyncio.get_running_loop()
        deadline = loop.time() + _REST_SECONDS
        while True:
            more: dict[str, int] = self._remains.beyond(look(), usual)
            if not more or loop.time() > deadline:
                return more
            await asyncio.sleep(_LOOK_SECONDS)

    def _shared(self) -> Counter[str]:
        """What belongs to the process, and can be told from what was there before."""
        found = Counter({f"open {name}": count for name, count in self._remains.descriptors().items()})
        found.update(self._remains.turns())
        return found

    def _here(self) -> Counter[str]:
        """What has come since `start`."""
        found = self._shared() - self._before
        own = Counter({f"task {name}": count for name, count in self._remains.tasks().items()})
        return found + (own - _OWN)

    def _all(self) -> Counter[str]:
        found = self._here()
        found.update(self._remains.counted(self._parts, self._server))
        found.update(self._remains.files(self._state))
        return found

    async def _stop(self) -> dict[str, int]:
        await self._server.stop()
        await self._parts.aclose()
        return await self._settled(self._here, {})


_OWN: Final = Counter({"task Background._until_stopped": 1, "task Background._owned": 1})


def _told(context: Mapping[str, Any]) -> str:
    return f"{context.get('message')}: {context.get('exception')!r}"


def main() -> None:
    """Obey until standard input ends."""
    rewriting.install()
    logging.disable(logging.CRITICAL)
    host = Host()
    for line in sys.stdin:
        name, *arguments = json.loads(line)
        try:
            answer = {"answer": getattr(host, name)(*arguments)}
        except BaseException as error:  # noqa: BLE001 - told by whoever gave the order
            answer = {"error": f"{type(error).__name__}: {error}"}
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
