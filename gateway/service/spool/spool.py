"""STORE, APPEND and COPY -> jobs in a folder, which survive the gateway and are delivered when that can be.

A gateway that is killed, or loses power, leaves each transfer either as a whole job or as a draft, which the
next one removes: its client was never told that it was taken. Jobs that could not be delivered stay until
they are delivered or dropped; `take` gives one to whoever asks first, in whatever process.
"""

import logging
import os
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from adapters.errors import HeadraceError
from adapters.files import Condition, Was
from gateway.service.spool.draft import Draft, same_append
from gateway.service.spool.folder import LAST, Fault, SpoolFolder, let_go, translated
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
        last = max((0, *found.parts, *found.damaged))
        self._next = last + 1 if last < LAST else 1  # beyond it a job would not be found again
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
        """All jobs, oldest first. Damaged ones are mended or set aside."""
        found = []
        for number, parts in sorted(self._folder.look().parts.items()):
            if "job" in parts:
                descriptor, record = self._open(number)
                try:
                    if record is not None:
                        fault = self._folder.read_fault(number)
                        found.append(Waiting(number, record, fault, descriptor is None))
                finally:
                    _close(descriptor)
        return found

    @property
    @translated()
    def damaged(self) -> int:
        """How many damaged jobs were set aside and still lie in the folder."""
        return len(self._folder.look().damaged)

    @translated()
    def take(self, number: int) -> Held | None:
        """A job, for whoever is first; None where it is gone, damaged, or somebody else's."""
        for pause in (*_PAUSES, 0.0):  # whoever only looks at a job has it locked for a moment too
            descriptor, record = self._open(number)
            if record is None:
                _close(descriptor)
                return None
            if descriptor is not None:
                return Held(self._ledger, number, descriptor, record)
            time.sleep(pause)
        return None

    @translated()
    def recover(self) -> None:
        """Remove drafts that nobody works on any more, mend damaged jobs or set them aside, and know the
        others.
        """
        appends: list[tuple[int, Record]] = []
        for number, parts in sorted(self._folder.look().parts.items()):
            if "job" not in parts and not self._tidy(number, parts):
                continue
            descriptor, record = self._open(number)
            _close(descriptor)
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

    def _open(self, number: int) -> tuple[int | None, Record | None]:
        """The lock of a job, None where it is gone or somebody else's; and the job, as it is or mended, None
        where it is gone, or so damaged that it was set aside.
        """
        try:
            descriptor = self._folder.lock(number)
        except Damaged as damage:
            self._set_aside(number, damage)
            return None, None
        try:
            return descriptor, self._read(number, descriptor)
        except BaseException:
            _close(descriptor)
            raise

    def _read(self, number: int, descriptor: int | None) -> Record | None:
        try:
            return self._folder.read_job(number)
        except FileNotFoundError:
            return None
        except Damaged as damage:
            if descriptor is None and self._folder.part(number, "data").is_file():
                return self._folder.read_spare(number)  # whoever works on it knows what it is
            mended = None if descriptor is None else self._folder.restore(number, str(damage))
            if mended is None:
                self._set_aside(number, damage)
            return mended

    def _set_aside(self, number: int, damage: Damaged) -> None:
        self._folder.set_aside(number, damage)
        self._ledger.gone(number)

    def _tidy(self, number: int, parts: set[str]) -> bool:
        """What there is without a job goes, unless its description was lost and is there once more: True."""
        has = self._folder.has
        if "data" not in parts:
            # A look may miss what is being written just now: only what is nothing without data goes.
            if any(has(number, each) for each in ("data", "job")):
                return False
            if has(number, "spare"):
                self._set_aside(number, Damaged("its data are gone"))
                return False
            for each in ("new", "fault"):
                with suppress(IsADirectoryError):
                    self._folder.part(number, each).unlink(missing_ok=True)
            return False
        try:
            descriptor = self._folder.lock(number)
        except Damaged as damage:
            self._set_aside(number, damage)
            return False
        if descriptor is None:
            return False  # somebody is writing it
        try:
            if has(number, "job"):
                return False
            if has(number, "spare"):
                why = Damaged("its description is gone")
                if self._folder.restore(number, str(why)) is not None:
                    return True
                self._set_aside(number, why)
                return False
            size = os.fstat(descriptor).st_size
            try:
                self._folder.remove(number)
            except IsADirectoryError:
                self._set_aside(number, Damaged("its data are a folder"))
                return False
            self._ledger.gone(number)
            _log.warning("a transfer that never ended was removed", extra={"job": number, "bytes": size})
            return False
        finally:
            let_go(descriptor)


def _close(descriptor: int | None) -> None:
    if descriptor is not None:
        let_go(descriptor)
