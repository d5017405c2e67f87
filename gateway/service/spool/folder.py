"""Job numbers -> the files of the spool's folder: what is there, whose it is, and removing it. Blocking.

A job has up to four files. `N.data` are its bytes; whoever fills or delivers them holds it locked
(flock(2)), and the kernel takes the lock back from a process that ends, however it ends. `N.job` says what is
to be done with them (see `record`): it appears by a rename, after both were made safe with fsync, and that is
the moment from which the job exists. `N.spare` says the same once more, should that be lost or damaged; it
comes after it, and goes before it. `N.fault` says how the last try ended. These two are written without
fsync, and believed only where they can be read. Files are mode 0600, in a folder of mode 0700 where this
module makes it. A damaged job's files get `.damaged` behind their names and stay; `N.why.damaged` says why.
"""

import errno
import fcntl
import json
import logging
import os
import re
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from adapters import limits
from adapters.disks import to_spare
from adapters.errors import HeadraceError, NoRoom
from gateway.service.damage import DAMAGED, set_aside
from gateway.service.spool.record import Damaged, JobKind, Record, read_record, record_text

_log = logging.getLogger(__name__)

LAST: Final = 10**12 - 1
"""The highest number that a job can have."""

_NAME: Final = re.compile(r"([1-9]\d{0,11})\.(data|job|new|spare|fault|why)(\.damaged(?:\.\d+)?)?", re.ASCII)
_PARTS: Final = ("job", "new", "spare", "fault", "data")
_STRAIGHT: Final = os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC  # what is no file is not waited for
_NEW: Final = os.O_CREAT | os.O_EXCL | _STRAIGHT
_READ: Final = os.O_RDONLY | _STRAIGHT
_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_SPOILED: Final = frozenset(
    {errno.EISDIR, errno.EACCES, errno.EPERM, errno.ELOOP, errno.ENXIO, errno.EIO, errno.EUCLEAN}
)
"""Errors of open(2) and read(2) about this one file; others are about the disk, or this process."""

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
    """What a look at the folder found: parts of each job, the numbers of damaged ones, and how many files are
    none of ours.
    """

    parts: dict[int, set[str]]
    damaged: set[int]
    foreign: int = 0


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
    """The folder; made if it is not there, and whatever else has its name is set aside. OSError where the
    disk fails.
    """

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            path.mkdir(mode=0o700)
        except FileExistsError:
            if not path.is_dir():
                aside = set_aside(path)
                _log.error("the spool was no folder: it was set aside, and a new one begun: %s", aside.name)
                path.mkdir(mode=0o700, exist_ok=True)
            elif path.stat().st_mode & stat.S_IRWXU != stat.S_IRWXU:
                path.chmod(0o700)
        self.path = path

    def look(self) -> Found:
        """What is there; other programs' files are let be."""
        return look(self.path)

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
        """A descriptor of the job's data with the lock on it; None where it is gone, or somebody else's.
        Damaged where it can be nobody's.
        """
        path = self.part(number, "data")
        try:
            descriptor = os.open(path, _READ)
        except FileNotFoundError:
            return None
        except OSError as error:
            if error.errno not in _SPOILED:
                raise
            raise Damaged(f"its data cannot be read: {error.strerror}") from error
        return descriptor if _claimed(descriptor, path) else None

    def write_job(self, number: int, record: Record) -> None:
        """The job exists from now on, whatever fails."""
        self._write_job(number, record)
        spare = self.part(number, "spare")
        try:
            _written(spare, record_text(record))
        except OSError:  # half of one would help nobody
            with suppress(OSError):
                spare.unlink()

    def _write_job(self, number: int, record: Record) -> None:
        new = self.part(number, "new")
        descriptor = os.open(new, _NEW | os.O_WRONLY, 0o600)
        try:
            write_all(descriptor, record_text(record))
            os.fsync(descriptor)
        finally:
            let_go(descriptor)
        new.rename(self.part(number, "job"))
        self._sync()

    def read_job(self, number: int, part: str = "job") -> Record:
        """What is to be done, as `part` says it. FileNotFoundError where it is gone; Damaged."""
        try:
            record = read_record(read_small(self.part(number, part)))
        except OSError as error:
            if error.errno not in _SPOILED:
                raise
            raise Damaged(f"its description cannot be read: {error.strerror}") from error
        try:
            found = self.part(number, "data").stat(follow_symlinks=False)
        except FileNotFoundError as error:
            if not self.has(number, part):
                raise
            raise Damaged("its data are gone") from error
        if not stat.S_ISREG(found.st_mode):
            raise Damaged("its data are no ordinary file")
        size = found.st_size
        if size != record.size or (size and record.job.kind is JobKind.COPY):
            raise Damaged(f"its data are {size} bytes instead of {record.size}")
        return record

    def read_spare(self, number: int) -> Record | None:
        """The job by its spare description; None where there is none that can be used."""
        try:
            return self.read_job(number, "spare")
        except (FileNotFoundError, Damaged):
            return None

    def restore(self, number: int, why: str) -> Record | None:
        """The job from its spare description, for whoever holds its lock: it is as it was. None as before."""
        record = self.read_spare(number)
        if record is not None:
            if self.part(number, "job").is_dir():
                set_aside(self.part(number, "job"))
            self.part(number, "new").unlink(missing_ok=True)
            self._write_job(number, record)
            _log.error("a spooled transfer's description was mended: %s", why, extra={"job": number})
        return record

    def write_fault(self, number: int, fault: Fault) -> None:
        """As far as that is possible: the job itself does not hang on it."""
        text = json.dumps({"sentence": fault.sentence, "doubtful": fault.doubtful})
        with suppress(OSError):
            _written(self.part(number, "fault"), text.encode("ascii"))

    def read_fault(self, number: int) -> Fault:
        """How the last try ended; nothing where there was none, or nobody knows."""
        with suppress(OSError, ValueError, KeyError, TypeError):
            values = json.loads(read_small(self.part(number, "fault")))
            return Fault(str(values["sentence"]), bool(values["doubtful"]))
        return Fault()

    def remove(self, number: int) -> None:
        """What makes it a job first: what is left without that is removed by the next `recover`."""
        for part in ("spare", *(each for each in _PARTS if each != "spare")):
            self.part(number, part).unlink(missing_ok=True)

    def set_aside(self, number: int, why: Damaged) -> None:
        """Keep what there is of a damaged job, where it is in nobody's way, and say so loudly."""
        for part in _PARTS:
            with suppress(FileNotFoundError):
                set_aside(self.part(number, part))
        with suppress(OSError):
            _written(self.part(number, f"why{DAMAGED}"), str(why).encode("utf-8", "replace"))
        _log.error("a spooled transfer is damaged and was set aside: %s", why, extra={"job": number})

    def size(self, numbers: Iterable[int]) -> dict[int, int]:
        """The data of those jobs that are there, in bytes."""
        sizes = {}
        for number in numbers:
            with suppress(FileNotFoundError):
                sizes[number] = self.part(number, "data").stat(follow_symlinks=False).st_size
        return sizes

    def free(self) -> int:
        """Bytes of the disk that may be filled: what is free, less a reserve, smaller on a small disk."""
        return to_spare(self.path, limits.SPOOL_RESERVE_BYTES)

    def has(self, number: int, part: str) -> bool:
        """Whether there is anything under that name, be it a link that leads nowhere."""
        return os.path.lexists(self.part(number, part))

    def part(self, number: int, part: str) -> Path:
        """One file of a job."""
        return self.path / f"{number}.{part}"

    def _sync(self) -> None:
        descriptor = os.open(self.path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            let_go(descriptor)


def look(path: Path) -> Found:
    """What is in a spool's folder, which is not changed. OSError."""
    parts: dict[int, set[str]] = {}
    damaged, foreign = set[int](), 0
    for each in path.iterdir():
        match = _NAME.fullmatch(each.name)
        if match is None:
            foreign += 1
        elif match[3]:
            damaged.add(int(match[1]))
        else:
            parts.setdefault(int(match[1]), set()).add(match[2])
    return Found(parts, damaged, foreign)


def write_all(descriptor: int, data: bytes) -> None:
    """Write at the descriptor's place, all of it."""
    view = memoryview(data)
    while view:
        view = view[os.write(descriptor, view) :]


def _written(path: Path, data: bytes) -> None:
    """A small file, as a whole or not, and not made safe."""
    descriptor = os.open(path, os.O_CREAT | os.O_WRONLY | os.O_TRUNC | _STRAIGHT, 0o600)
    try:
        write_all(descriptor, data)
    finally:
        let_go(descriptor)


def read_small(path: Path) -> bytes:
    """A small file. OSError; EISDIR where it is no ordinary one: what has no end, or no beginning, would hold
    everybody up.
    """
    descriptor = os.open(path, _READ)
    with os.fdopen(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(errno.EISDIR, "no ordinary file")
        return file.read(_RECORD_BYTES)


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
