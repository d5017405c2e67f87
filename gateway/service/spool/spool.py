"""STORE, APPEND and COPY -> jobs in a folder, which survive the gateway and are delivered when that can be.

A gateway that is killed, or loses power, leaves each transfer either as a whole job or as a draft, which the
next one removes: its client was never told that it was taken. Jobs that could not be delivered stay until
they are delivered or dropped; `take` gives one to whoever asks first, in whatever process.
"""

import logging
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from adapters.errors import HeadraceError
from adapters.files import Condition, Was
from gateway.service.spool.draft import Draft, same_append
from gateway.service.spool.folder import Fault, SpoolFolder, let_go, translated
from gateway.service.spool.held import Held
from gateway.service.spool.ledger import Ledger
from gateway.service.spool.record import Damaged, JobKind, Record, SpooledJob

__all__ = ["Draft", "Held", "JobKind", "Spool", "SpooledJob", "Waiting"]

_log = logging.getLogger(__name__)

_PAUSES: Final = (0.002, 0.01, 0.03)  # seconds


@dataclass(frozen=True, slots=True)
class Waiting:
    """A job as it is seen from outside. `busy`: somebody is delivering it just now."""

    number: int
    record: Record
    fault: Fault
    busy: bool


class Spool:
    """The spool in `folder`, which is made if it is not there. Opening it recovers what is in it.

    HeadraceError where it cannot be used. Methods block for the disk, but only `Draft.seal` waits for it to
    be safe.
    """

    def __init__(self, folder: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._now = now
        with translated():
            self._folder = SpoolFolder(folder)
            self._ledger = Ledger(self._folder)
            found = self._folder.look()
        self._next = 1 + max((0, *found.parts, *found.damaged))
        self._drafts: set[Draft] = set()
        self.recover()

    def begin(
        self,
        kind: str,
        ref: str,
        condition: Condition = Was.ANYTHING,
        *,
        source: str = "",
    ) -> Draft:
        """A draft of a job; `kind` is a JobKind's word. NoRoom, or HeadraceError where the disk fails."""
        job = SpooledJob(JobKind(kind), ref, condition, source, self._now())
        with translated():
            number, descriptor = self._folder.create(self._next)
        self._next = number + 1
        draft = Draft(self._ledger, number, descriptor, job, self._drafts.discard)
        self._drafts.add(draft)
        try:
            with translated():
                self._ledger.opened(number)
        except HeadraceError:
            draft.drop()
            raise
        return draft

    @translated()
    def held(self) -> list[Waiting]:
        """All jobs, oldest first. Damaged ones are set aside."""
        found = []
        for number, parts in sorted(self._folder.look().parts.items()):
            if "job" in parts:
                descriptor = self._folder.lock(number)
                try:
                    record = self._read(number)
                    if record is not None:
                        fault = self._folder.read_fault(number)
                        found.append(Waiting(number, record, fault, descriptor is None))
                finally:
                    if descriptor is not None:
                        let_go(descriptor)
        return found

    @property
    @translated()
    def damaged(self) -> int:
        """How many damaged jobs were set aside and still lie in the folder."""
        return len(self._folder.look().damaged)

    @translated()
    def take(self, number: int) -> Held | None:
        """A job, for whoever is first; None where it is gone, damaged, or somebody else's."""
        descriptor = self._lock(number)
        if descriptor is None:
            return None
        record = None
        try:
            record = self._read(number)
        finally:
            if record is None:
                let_go(descriptor)
        return None if record is None else Held(self._ledger, number, descriptor, record)

    @translated()
    def recover(self) -> None:
        """Remove drafts that nobody works on any more, set damaged jobs aside, and know the others."""
        appends: list[tuple[int, Record]] = []
        for number, parts in sorted(self._folder.look().parts.items()):
            if "job" not in parts:
                self._tidy(number, parts)
                continue
            record = self._read(number)
            if record is not None:
                self._ledger.sealed(number, record.job.ref)
                appends.append((number, record))
        for number, record in appends:
            if any(number < other and same_append(record, newer) for other, newer in appends):
                held = self.take(number)  # a gateway ended between sealing the newer and removing this one
                if held is not None:
                    held.drop()

    def close(self) -> None:
        """Drop what was not finished: its clients are gone. Jobs stay."""
        for draft in list(self._drafts):
            draft.drop()

    def _lock(self, number: int) -> int | None:
        """With a little patience: whoever only looks at a job has it locked for a moment too."""
        for pause in _PAUSES:
            descriptor = self._folder.lock(number)
            if descriptor is not None or not self._folder.part(number, "job").exists():
                return descriptor
            time.sleep(pause)
        return self._folder.lock(number)

    def _read(self, number: int) -> Record | None:
        try:
            return self._folder.read_job(number)
        except FileNotFoundError:
            return None
        except Damaged as damage:
            self._folder.set_aside(number, damage)
            self._ledger.gone(number)
            return None

    def _tidy(self, number: int, parts: set[str]) -> None:
        if "data" not in parts:
            # A look may miss what is being written just now: only what is nothing without data goes.
            if not any(self._folder.part(number, part).exists() for part in ("data", "job")):
                for part in ("new", "fault"):
                    self._folder.part(number, part).unlink(missing_ok=True)
            return
        descriptor = self._folder.lock(number)
        if descriptor is None:
            return  # somebody is writing it
        try:
            if not self._folder.part(number, "job").exists():
                size = os.fstat(descriptor).st_size
                self._folder.remove(number)
                self._ledger.gone(number)
                _log.warning("a transfer that never ended was removed", extra={"job": number, "bytes": size})
        finally:
            let_go(descriptor)
