"""Place -> one exchange with a WebDAV server, and what it means (RFC 4918 section 9)."""

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import httpcore

from adapters import limits
from adapters.dav.listing import Told, entries_of, fault_of, stat_of
from adapters.dav.multistatus import Multistatus, MultistatusReader
from adapters.errors import (
    BrokenOff,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NotThere,
    TooSlow,
    WrongDocument,
)
from adapters.files import Kind, Stat, Target, Upload
from adapters.http.client import Answer, HttpClient, Request
from adapters.http.documents.looking import look
from adapters.http.documents.places import is_folder_url
from adapters.http.statuses import status_fault, status_row

_XML: Final = "application/xml; charset=utf-8"
_ASKED: Final = (
    b'<?xml version="1.0" encoding="utf-8"?>\n'
    b'<D:propfind xmlns:D="DAV:"><D:prop><D:resourcetype/><D:getcontentlength/><D:getlastmodified/>'
    b"<D:getetag/><D:getcontenttype/></D:prop></D:propfind>\n"
)
_MULTISTATUS: Final = 207
_TIDY_SHARE: Final = 4  # of its time, what a change keeps back at most


class Operation:
    """One call of the adapter under way: the time it has, and how long each part took."""

    def __init__(self, seconds: float) -> None:
        """`seconds` from now. TooSlow where there is no time at all."""
        if seconds <= 0:
            raise TooSlow
        self._end = asyncio.get_running_loop().time() + seconds
        self._kept = min(limits.TIDY_SECONDS, seconds / _TIDY_SHARE)
        self._steps: dict[str, float] = {}

    @property
    def left(self) -> float:
        """Seconds for the work itself."""
        return self._end - self._kept - asyncio.get_running_loop().time()

    @property
    def left_to_tidy(self) -> float:
        """Seconds for looking again and tidying up, with those that were kept back for it."""
        return self._end - asyncio.get_running_loop().time()

    @property
    def steps(self) -> tuple[tuple[str, float], ...]:
        """As in `port.Fetched`."""
        return tuple(self._steps.items())

    def took(self, steps: tuple[tuple[str, float], ...]) -> None:
        """Add what one exchange took."""
        for label, seconds in steps:
            self._steps[label] = self._steps.get(label, 0.0) + seconds


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a request. `fault` is None where it went well, else what it stands for if nothing was
    done; `doubtful`: something may have been done all the same.
    """

    status: int
    fault: HeadraceError | None
    doubtful: bool


@dataclass(frozen=True, slots=True)
class Found:
    """What a PROPFIND of depth 1 found at `url` (http)."""

    told: Told | None
    url: str
    origin: str


class Exchanges:
    """Single requests, by a client that spells origins as WebDAV's. `now` is for dates of two-digit years."""

    def __init__(self, client: HttpClient, now: Callable[[], datetime]) -> None:
        self.client = client
        self._now = now

    async def list(self, folder: Target, operation: Operation) -> Found:
        """The entries of a collection."""
        request = _propfind(folder, "1")
        async with self.client.exchange(request, operation.left_to_tidy) as answer:
            told = await self._multistatus(answer)
        operation.took(answer.steps)
        with _told_by(answer):
            entries = entries_of(told, answer.url)
        return Found(entries, answer.url, answer.origin)

    async def stat(self, target: Target, operation: Operation, *, tidying: bool = False) -> Stat:
        """What is there, by PROPFIND, or by HEAD where the server has none. NotThere."""
        seconds = operation.left_to_tidy if tidying else operation.left
        async with self.client.exchange(_propfind(target, "0"), seconds) as answer:
            told = None if answer.status in (405, 501) else await self._multistatus(answer)
        operation.took(answer.steps)
        if told is None:
            return await self._head(target, operation, operation.left_to_tidy if tidying else operation.left)
        with _told_by(answer):
            return stat_of(told, answer.url, answer.origin)

    async def look(self, target: Target, operation: Operation, *, tidying: bool = False) -> Stat | None:
        """The same, or None where nothing is."""
        try:
            return await self.stat(target, operation, tidying=tidying)
        except NotThere:
            return None

    async def send(
        self,
        method: str,
        target: Target,
        operation: Operation,
        headers: tuple[tuple[str, str], ...] = (),
        body: Upload | None = None,
        *,
        changes: bool = False,
        tidying: bool = False,
    ) -> Outcome:
        """Any other request. `changes`: it is about a target, so a broken exchange is MayBeDone; otherwise
        only a temporary name is at stake.
        """
        seconds = operation.left_to_tidy if tidying else operation.left
        request = Request(method, target, headers, body, changes=changes)
        async with self.client.exchange(request, seconds) as answer:
            operation.took(answer.steps)
            many = answer.status == _MULTISTATUS
            fault = await self._first_failure(answer) if many else _plain(answer)
        if fault is not None:
            fault.far, fault.steps = _far(answer), answer.steps
        doubtful = many or status_row(answer.status).may_be_done
        return Outcome(answer.status, fault, doubtful and fault is not None)

    async def _multistatus(self, answer: Answer) -> Multistatus:
        if answer.fault is not None:
            raise answer.fault
        with _told_by(answer):
            if answer.status != _MULTISTATUS:
                raise WrongDocument("Not a WebDAV answer")
            reader = MultistatusReader(self._now())
            async for chunk in answer.chunks:
                for start in range(0, len(chunk), limits.LIST_PIECE_BYTES):
                    reader.feed(chunk[start : start + limits.LIST_PIECE_BYTES])
                    if reader.full:
                        return reader.finish()
                    await asyncio.sleep(0)  # others have their turn, however fast it comes
            return reader.finish()

    async def _first_failure(self, answer: Answer) -> HeadraceError:
        """A 207 to anything but PROPFIND tells what failed (RFC 4918 sections 9.6.1, 9.8.5, 9.9.4)."""
        try:
            told = await self._multistatus(answer)
        except HeadraceError:
            return FarBusy()
        failed = (each for each in told.responses if each.failed)
        return next((fault_of(each) for each in failed), FarBusy())

    async def _head(self, target: Target, operation: Operation, seconds: float) -> Stat:
        looked = await look(self.client, target, seconds, self._now())
        if is_folder_url(looked.url):
            return Stat(Kind.FOLDER, origin=looked.stat.origin)
        return looked.stat


def plain_fault(doubt: MayBeDone) -> HeadraceError:
    """What a broken exchange is, once it is known that nothing was done: the error behind the doubt."""
    cause = doubt.__cause__
    fault: HeadraceError = BrokenOff()
    if isinstance(cause, TimeoutError | httpcore.TimeoutException):
        fault = TooSlow()
    elif isinstance(cause, HeadraceError) and not isinstance(cause, MayBeDone):
        fault = cause
    fault.far, fault.steps = doubt.far, doubt.steps
    return fault


def doubt_about(fault: HeadraceError) -> MayBeDone:
    """The doubt that a fault leaves."""
    doubt = MayBeDone()
    doubt.far, doubt.steps = fault.far, fault.steps
    return doubt


@contextmanager
def _told_by(answer: Answer) -> Iterator[None]:
    """A fault in here is what this answer told."""
    try:
        yield
    except HeadraceError as fault:
        fault.far, fault.steps = _far(answer), answer.steps
        raise


def _far(answer: Answer) -> str:
    """As in `HeadraceError.far`."""
    return f"{answer.origin}, HTTP {answer.status}"


def _propfind(target: Target, depth: str) -> Request:
    return Request("PROPFIND", target, (("Depth", depth),), _ASKED, _XML, "application/xml, text/xml")


def _plain(answer: Answer) -> HeadraceError | None:
    """The status's fault if nothing was done."""
    if answer.fault is None or not isinstance(answer.fault, MayBeDone):
        return answer.fault
    return status_fault(answer.status, changes=False, with_credentials=False, seconds=None)
