"""Job numbers -> the files of the spool's folder: what is there, whose it is, and removing it. Blocking.

A job has up to three files. `N.data` are its bytes; whoever fills or delivers them holds it locked
(flock(2)), and the kernel takes the lock back from a process that ends, however it ends. `N.job` says what is
to be done with them (see `record`): it appears by a rename, after both were made safe with fsync, and that is
the moment from which the job exists. `N.fault` says how the last try ended; it is written without fsync and
believed only where it can be read. Files are mode 0600, in a folder of mode 0700 where this module makes it.
A damaged job's files get `.damaged` behind their names and stay.
"""

import errno
import fcntl
import json
import logging
import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from adapters.errors import HeadraceError, NoRoom
from gateway.service.spool.record import Damaged, JobKind, Record, read_record, record_text

_log = logging.getLogger(__name__)

_NAME: Final = re.compile(r"(\d{1,12})\.(data|job|new|fault)(\.damaged)?", re.ASCII)
_NEW: Final = os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_RECORD_BYTES: Final = 1 << 20  # no description is longer


@dataclass(frozen=True, slots=True)
class Fault:
    """How the last try to deliver a job ended. `doubtful`: the far server may have done it."""

    sentence: str = ""
    doubtful: bool = False


ENDED: Final = Fault("The gateway ended meanwhile", doubtful=True)
"""What is noted while a job is under way, for the case that the gateway is killed."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a look at the folder found: parts of each job, and the numbers of damaged ones."""

    parts: dict[int, set[str]]
    damaged: set[int]


def spool_fault(error: OSError) -> HeadraceError:
    """To be raised from `error`: NoRoom for a full disk, else that the gateway failed."""
    if error.errno in _FULL:
        return NoRoom("The gateway's disk is full")
    return HeadraceError("The gateway's spool cannot be used")


@contextmanager
def translated() -> Iterator[None]:
    """OSErrors of the spool's disk become what a client or the command line is told."""
    try:
        yield
    except OSError as error:
        raise spool_fault(error) from error


class SpoolFolder:
    """The folder; made if it is not there. OSError where the disk fails."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.mkdir(mode=0o700, exist_ok=True)
        self.path = path

    def look(self) -> Found:
        """What is there; other programs' files are let be."""
        found = Found({}, set())
        for each in self.path.iterdir():
            match = _NAME.fullmatch(each.name)
            if match is None:
                continue
            number = int(match[1])
            if match[3]:
                found.damaged.add(number)
            else:
                found.parts.setdefault(number, set()).add(match[2])
        return found

    def create(self, first: int) -> tuple[int, int]:
        """A new locked `data` file: the first free number from there, and its descriptor.

        Another process may take an unlocked file without a job for one left behind, and remove it in the
        moment before it is locked: then the next number is tried.
        """
        number = first
        while True:
            path = self.part(number, "data")
            with suppress(FileExistsError):
                descriptor = os.open(path, _NEW | os.O_RDWR, 0o600)
                try:
                    if _claimed(descriptor, path):
                        return number, descriptor
                except OSError:
                    with suppress(OSError):
                        path.unlink()
                    raise
            number += 1

    def lock(self, number: int) -> int | None:
        """A descriptor of the job's data with the lock on it; None where it is gone, or somebody else's."""
        path = self.part(number, "data")
        try:
            descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
        except FileNotFoundError:
            return None
        return descriptor if _claimed(descriptor, path) else None

    def write_job(self, number: int, record: Record) -> None:
        """The job exists from now on, whatever fails."""
        new = self.part(number, "new")
        descriptor = os.open(new, _NEW | os.O_WRONLY, 0o600)
        try:
            write_all(descriptor, record_text(record))
            os.fsync(descriptor)
        finally:
            let_go(descriptor)
        new.rename(self.part(number, "job"))
        self._sync()

    def read_job(self, number: int) -> Record:
        """FileNotFoundError where it is gone; Damaged."""
        with self.part(number, "job").open("rb") as file:
            record = read_record(file.read(_RECORD_BYTES))
        try:
            size = self.part(number, "data").stat().st_size
        except FileNotFoundError as error:
            if not self.part(number, "job").exists():
                raise
            raise Damaged("its data are gone") from error
        if size != record.size or (size and record.job.kind is JobKind.COPY):
            raise Damaged(f"its data are {size} bytes instead of {record.size}")
        return record

    def write_fault(self, number: int, fault: Fault) -> None:
        """As far as that is possible: the job itself does not hang on it."""
        text = json.dumps({"sentence": fault.sentence, "doubtful": fault.doubtful})
        path = self.part(number, "fault")
        with suppress(OSError):
            descriptor = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
            try:
                write_all(descriptor, text.encode("ascii"))
            finally:
                let_go(descriptor)

    def read_fault(self, number: int) -> Fault:
        """How the last try ended; nothing where there was none, or nobody knows."""
        with suppress(OSError, ValueError, KeyError, TypeError):
            values = json.loads(self.part(number, "fault").read_bytes())
            return Fault(str(values["sentence"]), bool(values["doubtful"]))
        return Fault()

    def remove(self, number: int) -> None:
        """The job first: what is left without one is removed by the next `recover`."""
        for part in ("job", "new", "fault", "data"):
            self.part(number, part).unlink(missing_ok=True)

    def set_aside(self, number: int, why: Damaged) -> None:
        """Keep what there is of a damaged job, where it is in nobody's way, and say so loudly."""
        for part in ("job", "new", "fault", "data"):
            path = self.part(number, part)
            with suppress(FileNotFoundError):
                path.rename(path.with_name(f"{path.name}.damaged"))
        _log.error("a spooled transfer is damaged and was set aside: %s", why, extra={"job": number})

    def size(self, numbers: Iterable[int]) -> dict[int, int]:
        """The data of those jobs that are there, in bytes."""
        sizes = {}
        for number in numbers:
            with suppress(FileNotFoundError):
                sizes[number] = self.part(number, "data").stat().st_size
        return sizes

    def free(self) -> int:
        """Bytes of the disk that are free."""
        disk = os.statvfs(self.path)
        return disk.f_bavail * disk.f_frsize

    def part(self, number: int, part: str) -> Path:
        """One file of a job."""
        return self.path / f"{number}.{part}"

    def _sync(self) -> None:
        descriptor = os.open(self.path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            let_go(descriptor)


def write_all(descriptor: int, data: bytes) -> None:
    """Write at the descriptor's place, all of it."""
    view = memoryview(data)
    while view:
        view = view[os.write(descriptor, view) :]


def let_go(descriptor: int) -> None:
    """Close it, and with that its lock. Where close(2) fails it is closed, too, and what matters was made
    safe with fsync before.
    """
    with suppress(OSError):
        os.close(descriptor)


def _claimed(descriptor: int, path: Path) -> bool:
    """Whether it is locked now, and still what is at the path; else, or if nobody can tell, it is closed."""
    good = False
    try:
        good = _locked(descriptor) and _is_at(descriptor, path)
    finally:
        if not good:
            let_go(descriptor)
    return good


def _locked(descriptor: int) -> bool:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _is_at(descriptor: int, path: Path) -> bool:
    try:
        there = path.stat(follow_symlinks=False)
    except FileNotFoundError:
        return False
    here = os.fstat(descriptor)
    return (here.st_dev, here.st_ino) == (there.st_dev, there.st_ino)
