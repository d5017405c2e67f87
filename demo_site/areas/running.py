"""folders/ -> copies in a temporary folder, served by FTP, by WebDAV and as they are.

The copies are what clients write into; the originals stay as they came. Dates of modification are fixed,
because a checkout gives every file the day it was made.
"""

import os
import shutil
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from demo_site.areas.dav import DavArea
from demo_site.areas.ftp import FtpArea
from demo_site.areas.signals import SignalStation
from demo_site.site import KEYS

FOLDERS: Final = Path(__file__).parents[1] / "folders"
QUAY_USER: Final = "watchman"
QUAY_FILE: Final = KEYS / "quay-password.txt"
LEDGER_USER: Final = "clerk"
LEDGER_FILE: Final = KEYS / "ledger-password.txt"
MODIFIED: Final = datetime(2024, 5, 17, 5, 0, tzinfo=UTC)
EMPTY: Final = "empty"
"""A folder of the quay that is made here: version control keeps no empty ones."""
SHIP: Final = ("ship.txt", "Möwe.txt")
"""A file of the quay and its name there: not everything that unpacks archives can write such a name."""


@dataclass(frozen=True, slots=True)
class Areas:
    """Where the three folders are: absolute URLs with a slash at the end, as a place's `base` wants them."""

    quay: str  # ftp://
    ledger: str  # dav://
    shelf: str  # file://
    station: str  # tcp://, without a slash at the end: the town's text service


class DemoAreas:
    """The town's folders and its signal station, as a context manager.

    `folder` is the caller's temporary folder, in which quay/, ledger/ and shelf/ are made. Inside the context
    `urls` says where they are; afterwards no thread and no socket is left. OSError where no port can be had
    or `folder` cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.urls = Areas("", "", "", "")
        self._running = ExitStack()

    def __enter__(self) -> Self:
        for name in ("quay", "ledger", "shelf"):
            _copy(FOLDERS / name, self.folder / name)
        quay_password, ledger_password = (
            path.read_text("ascii").strip() for path in (QUAY_FILE, LEDGER_FILE)
        )
        with ExitStack() as starting:
            quay = starting.enter_context(FtpArea(self.folder / "quay", QUAY_USER, quay_password))
            ledger = starting.enter_context(DavArea(self.folder / "ledger", LEDGER_USER, ledger_password))
            station = starting.enter_context(SignalStation())
            shelf = (self.folder / "shelf").absolute().as_uri() + "/"
            self.urls = Areas(quay.url, ledger.url, shelf, station.url)
            self._running = starting.pop_all()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._running.close()


def _copy(seed: Path, copy: Path) -> None:
    shutil.copytree(seed, copy, copy_function=shutil.copyfile)  # which leaves the seeds' permissions behind
    if seed.name == "quay":
        (copy / EMPTY).mkdir()
        (copy / SHIP[0]).rename(copy / SHIP[1])
    for path in (copy, *copy.rglob("*")):
        os.utime(path, (MODIFIED.timestamp(),) * 2)
