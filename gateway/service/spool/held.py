"""A sealed job -> its bytes, as often as wanted, and what became of them."""

import asyncio
import hashlib
import logging
import os
import threading
from collections.abc import AsyncIterator, Callable

from adapters import limits
from adapters.errors import HeadraceError
from gateway.service.spool.folder import ENDED, Fault, let_go
from gateway.service.spool.ledger import Ledger
from gateway.service.spool.record import Damaged, JobKind, Record

_log = logging.getLogger(__name__)


class Held:
    """A job that nobody else can take while it is held, in any process. It is let go by `delivered`,
    `failed`, `drop` or `close`, and by the end of the process.
    """

    def __init__(self, ledger: Ledger, number: int, descriptor: int, record: Record) -> None:
        self.number = number
        self._record = record
        self.job = record.job
        self.size = record.size
        self.digest = record.digest
        self._ledger = ledger
        self._folder = ledger.folder
        self._descriptor = descriptor
        self._lock = threading.Lock()

    async def chunks(self, moved: Callable[[int], None] = lambda _: None) -> AsyncIterator[bytes]:
        """The bytes from the beginning; `moved` is told how many of them were taken so far.

        HeadraceError, before the last of them, where they are not those that were sealed: the job is then set
        aside. From the first of them on the job counts as doubtful, should the gateway end.
        """
        self._folder.write_fault(self.number, ENDED)
        digest, done = hashlib.sha256(), 0
        while True:
            chunk = await asyncio.to_thread(self._read, done)
            digest.update(chunk)
            last = done + len(chunk) >= self.size or not chunk
            if last and digest.hexdigest() != self.digest:
                self._set_aside()
                raise HeadraceError("The spool's copy is damaged")
            if chunk:
                yield chunk
            done += len(chunk)
            moved(done)
            if last:
                return

    def _read(self, offset: int) -> bytes:
        try:
            with self._lock:
                return os.pread(self._descriptor, limits.CHUNK_BYTES, offset)
        except OSError as error:
            raise HeadraceError("The gateway's spool cannot be read") from error

    def _set_aside(self) -> None:
        self._folder.set_aside(self.number, Damaged("its data do not match their digest"))
        self._ledger.gone(self.number)
        self._close()

    def delivered(self) -> None:
        """It is where it belongs. Older jobs for the same target are over with it, unless this one only
        added to what they would have replaced.
        """
        self._remove()
        if self.job.kind is not JobKind.APPEND:
            self.remove_older(lambda _: True)

    def failed(self, sentence: str, doubtful: bool = False) -> None:
        """It stays, for another try; others may take it. Nothing after another ending."""
        if self._close():
            self._folder.write_fault(self.number, Fault(sentence, doubtful))

    def drop(self) -> None:
        """It is not wanted any more; after `failed` too, unless somebody else has taken it since."""
        if self._descriptor < 0:
            _remove_if(self._ledger, self.number, self._record.__eq__)
        self._remove()

    def remove_older(self, also: Callable[[Record], bool]) -> None:
        """Remove jobs for the same ref that came before this one and that `also` applies to. One that
        somebody else is delivering is left to them.
        """
        for number in self._ledger.numbers(self.job.ref):
            if number < self.number and _remove_if(self._ledger, number, also):
                _log.info("a newer transfer took its place", extra={"job": number, "newer": self.number})

    def close(self) -> None:
        """Let go of it as it is: doubtful, if it was being delivered."""
        self._close()

    def _remove(self) -> None:
        if self._descriptor < 0:
            return
        try:
            self._folder.remove(self.number)
            self._ledger.gone(self.number)
        except OSError:  # what was done is done: its client is not to hear of this
            _log.exception("a transfer that is over cannot be removed", extra={"job": self.number})
        self._close()

    def _close(self) -> bool:
        with self._lock:
            if self._descriptor < 0:
                return False
            let_go(self._descriptor)
            self._descriptor = -1
            return True


def _remove_if(ledger: Ledger, number: int, wanted: Callable[[Record], bool]) -> bool:
    """Remove a job that nobody has taken; whether that was done."""
    folder = ledger.folder
    try:
        descriptor = folder.lock(number)
    except OSError:
        return False
    if descriptor is None:
        return False
    try:
        if not wanted(folder.read_job(number)):
            return False
        folder.remove(number)
        ledger.gone(number)
    except (Damaged, OSError):  # the next recover deals with it
        return False
    finally:
        let_go(descriptor)
    return True
