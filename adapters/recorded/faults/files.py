"""An adapter for documents and folders -> the same, whose operations go wrong as a plan says.

The error is the one that the protocol's own adapter has for it: a status goes by HTTP's table for http and
dav, by FTP's for ftp. A change that went out and was not answered is MayBeDone.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Final, TypeVar

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    HeadraceError,
    MayBeDone,
    TooSlow,
    Untrusted,
    WrongDocument,
)
from adapters.files import Ability, Condition, FileAdapter, Listing, Reading, Stat, Target, Upload, Written
from adapters.ftp.replies import reply_fault
from adapters.http.statuses import status_fault
from adapters.port import Adapter, Call, Fetched
from adapters.recorded.faults.link import damaged
from adapters.recorded.faults.plan import Damage, Fault, FaultPlan

Answer = TypeVar("Answer")
_ASKING: Final = frozenset({"LIST", "STAT", "READ"})


class FaultyFiles(FileAdapter):
    """`inner`, and `plan` before it."""

    def __init__(self, inner: FileAdapter, plan: FaultPlan) -> None:
        self._inner = inner
        self._plan = plan

    def abilities(self, target: Target) -> Ability:
        """The inner adapter's."""
        return self._inner.abilities(target)

    async def list(self, target: Target, seconds: float) -> Listing:
        """As the inner adapter lists."""
        return await self._done("LIST", target, seconds, lambda left: self._inner.list(target, left))

    async def stat(self, target: Target, seconds: float) -> Stat:
        """As the inner adapter says."""
        return await self._done("STAT", target, seconds, lambda left: self._inner.stat(target, left))

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """As the inner adapter reads; a body may be cut or garbled on its way."""
        fault, left = await self._begun("READ", target.url, seconds)
        async with self._inner.read(target, offset, count, left) as whole:
            if fault is not None and fault.damage in (Damage.CUT, Damage.GARBLED):
                yield replace(whole, chunks=_chunks(whole.chunks, fault, target.url))
            else:
                yield whole

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """As the inner adapter writes."""
        return await self._done(
            "WRITE", target, seconds, lambda left: self._inner.write(target, upload, condition, left)
        )

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """As the inner adapter appends."""
        return await self._done(
            "APPEND", target, seconds, lambda left: self._inner.append(target, upload, condition, left)
        )

    async def erase(self, target: Target, seconds: float) -> None:
        """As the inner adapter erases."""
        await self._done("ERASE", target, seconds, lambda left: self._inner.erase(target, left))

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """As the inner adapter renames."""
        await self._done("RENAME", target, seconds, lambda left: self._inner.rename(target, to, left))

    async def make_folder(self, target: Target, seconds: float) -> None:
        """As the inner adapter makes folders."""
        await self._done("MKDIR", target, seconds, lambda left: self._inner.make_folder(target, left))

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """As the inner adapter copies."""
        return await self._done("COPY", target, seconds, lambda left: self._inner.copy(target, to, left))

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """As the inner adapter fetches."""
        return await _fetched(self._inner, self._plan, call, seconds)

    async def aclose(self) -> None:
        """Close the inner adapter."""
        await self._inner.aclose()

    async def _done(
        self, method: str, target: Target, seconds: float, work: Callable[[float], Awaitable[Answer]]
    ) -> Answer:
        fault, left = await self._begun(method, target.url, seconds)
        if fault is not None and fault.damage is Damage.CUT:
            raise _told(_unanswered(method, BrokenOff()), target.url)
        return await work(left)

    async def _begun(self, method: str, url: str, seconds: float) -> tuple[Fault | None, float]:
        fault = self._plan.due(method, url)
        return fault, seconds if fault is None else await _suffered(fault, method, url, seconds)


class FaultyFetch:
    """The same for an adapter without documents and folders."""

    def __init__(self, inner: Adapter, plan: FaultPlan) -> None:
        self._inner = inner
        self._plan = plan

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """As the inner adapter fetches."""
        return await _fetched(self._inner, self._plan, call, seconds)

    async def aclose(self) -> None:
        """Close the inner adapter."""
        await self._inner.aclose()


async def _fetched(inner: Adapter, plan: FaultPlan, call: Call, seconds: float) -> Fetched:
    fault = plan.due("READ", call.url)
    if fault is None:
        return await inner.fetch(call, seconds)
    left = await _suffered(fault, "READ", call.url, seconds)
    fetched = await inner.fetch(call, left)
    if fault.damage is Damage.CUT:
        raise _told(BrokenOff(), call.url)
    if fault.damage is Damage.GARBLED:
        body = fetched.body[: fault.size]
        return replace(fetched, body=body.ljust(len(fetched.body), b"?"))
    return fetched


async def _suffered(fault: Fault, method: str, url: str, seconds: float) -> float:
    """What happens before an answer comes: an error, or a wait. How many seconds are left then."""
    error = _error(fault, method, url)
    if error is not None:
        raise _told(error, url)
    if fault.damage is not Damage.SLOW:
        return seconds
    wait = fault.seconds or 0
    await asyncio.sleep(min(wait, seconds))
    if wait >= seconds:
        raise _told(_unanswered(method, TooSlow()), url)
    return seconds - wait


def _error(fault: Fault, method: str, url: str) -> HeadraceError | None:
    scheme = url.partition(":")[0]
    match fault.damage:
        case Damage.REFUSED:
            return CannotConnect("The far server refuses to connect")
        case Damage.EXPIRED:
            return Untrusted()
        case Damage.RESET:
            return _unanswered(method, BrokenOff())
        case Damage.MALFORMED:
            protocol = "FTP" if scheme.startswith("ftp") else "HTTP"
            return _unanswered(method, WrongDocument(f"The far server does not speak {protocol}"))
        case Damage.STATUS if scheme.startswith("ftp"):
            return reply_fault(fault.status, placing=method in ("WRITE", "APPEND", "MKDIR"))
        case Damage.STATUS:
            wait = None if fault.seconds is None else round(fault.seconds)
            changes = method not in _ASKING
            return status_fault(fault.status, changes=changes, with_credentials=False, seconds=wait)
        case _:
            return None


def _unanswered(method: str, fault: HeadraceError) -> HeadraceError:
    return fault if method in _ASKING else MayBeDone()


def _told(fault: HeadraceError, url: str) -> HeadraceError:
    fault.far = "" if url.startswith("file:") else "/".join(url.split("/")[:3])
    return fault


async def _chunks(chunks: AsyncIterator[bytes], fault: Fault, url: str) -> AsyncIterator[bytes]:
    async for piece in damaged(chunks, fault):
        yield piece
    if fault.damage is Damage.CUT:
        raise _told(BrokenOff(), url)
