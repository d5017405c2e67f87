"""A client's bytes as they come -> a file that is nothing yet -> a job, once all are there and safe."""

import hashlib
import os
import threading
from collections.abc import Callable
from contextlib import suppress
from enum import Enum, auto

from adapters.errors import HeadraceError, WrongMoment
from gateway.service.spool.folder import ENDED, let_go, spool_fault, write_all
from gateway.service.spool.held import Held
from gateway.service.spool.ledger import Ledger
from gateway.service.spool.record import JobKind, Record, SpooledJob


class _State(Enum):
    OPEN = auto()
    SEALING = auto()
    OVER = auto()


class Draft:
    """One transfer being taken in. A draft that is never sealed is never delivered."""

    def __init__(
        self,
        ledger: Ledger,
        number: int,
        descriptor: int,
        job: SpooledJob,
        over: Callable[["Draft"], None],
    ) -> None:
        self.size = 0
        self._ledger = ledger
        self._folder = ledger.folder
        self._number = number
        self._descriptor = descriptor
        self._job = job
        self._over = over
        self._digest = hashlib.sha256()
        self._state = _State.OPEN
        self._fault: HeadraceError | None = None
        self._lock = threading.Lock()

    def write(self, data: bytes) -> None:
        """Add at the end. NoRoom, after which the draft is dropped and says so to whoever goes on."""
        self._still_open()
        try:
            self._ledger.grown(self._number, len(data))
            write_all(self._descriptor, data)
        except HeadraceError as fault:
            self._fault = fault
            self.drop()
            raise
        except OSError as error:
            self._fault = spool_fault(error)
            self.drop()
            raise self._fault from error
        self._digest.update(data)
        self.size += len(data)

    def seal(self) -> Held:
        """That was all: make it safe. Blocks on the disk (fsync): for a thread.

        NoRoom, or HeadraceError where the disk fails: nothing is kept then. An APPEND that is the same as one
        that waits already, byte for byte, takes its place: its client tried again. A COPY counts as under way
        from now on.
        """
        with self._lock:
            self._still_open()
            self._state = _State.SEALING
        record = Record(self._job, self.size, self._digest.hexdigest())
        try:
            os.fsync(self._descriptor)
            self._folder.write_job(self._number, record)
        except OSError as error:
            self._fault = spool_fault(error)
            self._discard()
            raise self._fault from error
        self._end()
        self._ledger.sealed(self._number, self._job.ref)
        held = Held(self._ledger, self._number, self._descriptor, record)
        if self._job.kind is JobKind.COPY:
            self._folder.write_fault(self._number, ENDED)
        elif self._job.kind is JobKind.APPEND:
            held.remove_older(lambda older: same_append(older, record))
        return held

    def drop(self) -> None:
        """Forget it. Harmless a second time, and once it is being sealed: from then on it is a job."""
        with self._lock:
            if self._state is not _State.OPEN:
                return
            self._state = _State.SEALING
        self._discard()

    def _discard(self) -> None:
        with suppress(OSError):  # without its job it is removed when the spool is opened again
            self._folder.remove(self._number)
        let_go(self._descriptor)
        self._ledger.gone(self._number)
        self._end()

    def _end(self) -> None:
        self._state = _State.OVER
        self._over(self)

    def _still_open(self) -> None:
        if self._fault is not None:
            raise type(self._fault)(self._fault.sentence)
        if self._state is not _State.OPEN:
            raise WrongMoment("That transfer is over")


def same_append(one: Record, other: Record) -> bool:
    """Whether two jobs add the same bytes to the same document."""
    return (
        one.job.kind is other.job.kind is JobKind.APPEND
        and one.job.ref == other.job.ref
        and (one.size, one.digest) == (other.size, other.digest)
    )
