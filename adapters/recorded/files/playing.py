"""Operations on documents and folders -> what came of them when they were recorded; nothing is done anywhere.

Each request's answers come in their order, the last one for ever. A part of a document comes from any reading
that covers it; what STAT would say, where that was not asked, from a reading or from the folder's listing.
"""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import TypeVar

from adapters.errors import HeadraceError, NoRoom, NotRecorded
from adapters.files import (
    Ability,
    Condition,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Written,
)
from adapters.port import Adapter, Call, Fetched
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Asked, Exchange, Failure, Told
from adapters.recorded.failures import bytes_of, fault_of, from_disk, not_recorded
from adapters.recorded.ports import Recordings
from adapters.recorded.turns import Turns

Part = TypeVar("Part")


class PlayingFiles(FileAdapter):
    """What `recordings` hold. Of `inner`, which stays unused, only `abilities` are asked."""

    def __init__(self, inner: FileAdapter, recordings: Recordings) -> None:
        self._inner = inner
        self._recordings = recordings
        self._turns = Turns()

    def abilities(self, target: Target) -> Ability:
        """The inner adapter's."""
        return self._inner.abilities(target)

    async def list(self, target: Target, seconds: float) -> Listing:
        """As it was listed."""
        return _part(self._play(target, Asked("LIST", target.url)).listing)

    async def stat(self, target: Target, seconds: float) -> Stat:
        """As it was told, or as a reading or a listing tells."""
        asked = Asked("STAT", target.url)
        if self._recordings.find(asked):
            return _part(self._play(target, asked).stat)
        for each in self._recordings.find(Asked("READ", target.url)):
            if isinstance(each.reply, Told) and each.reply.stat is not None:
                self._recordings.used(each)
                return each.reply.stat
        folder = target.url.rstrip("/").rpartition("/")[0] + "/"
        for each in reversed(self._recordings.find(Asked("LIST", folder))):
            listing = each.reply.listing if isinstance(each.reply, Told) else None
            for entry in () if listing is None else listing.entries:
                if entry.name == target.name and entry.kind is not Kind.LINK:
                    self._recordings.used(each)
                    origin = "" if listing is None else listing.origin
                    return Stat(entry.kind, entry.size, entry.modified, origin=origin)
        raise self._missing(target, asked)

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """The bytes that were read, from the same reading or one that covers this."""
        asked = Asked("READ", target.url, offset=offset, count=count)
        found = self._recordings.find(asked)
        exact = [each for each in found if (each.asked.offset, each.asked.count) == (offset, count)]
        with from_disk():
            fit = exact or [each for each in found if _covers(each, offset, count)]
        if not fit:
            raise self._missing(target, asked)
        exchange = self._next(asked, fit)
        if isinstance(exchange.reply, Failure):
            raise fault_of(exchange.reply)
        assert isinstance(exchange.reply, Told)
        told = exchange.reply
        with from_disk():
            there = told.content is not None and told.content.size > 0
        yield Reading(
            _bytes(told, offset, count),
            offset if there else told.offset,
            told.size,
            _part(told.stat),
            told.digest,
        )

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """What came of writing the same bytes there."""
        return await self._sent(target, "WRITE", upload)

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """What came of adding the same bytes there."""
        return await self._sent(target, "APPEND", upload)

    async def erase(self, target: Target, seconds: float) -> None:
        """What came of it."""
        self._play(target, Asked("ERASE", target.url))

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """What came of it."""
        self._play(target, Asked("RENAME", target.url, to=to.url))

    async def make_folder(self, target: Target, seconds: float) -> None:
        """What came of it."""
        self._play(target, Asked("MKDIR", target.url))

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """What came of it."""
        return _part(self._play(target, Asked("COPY", target.url, to=to.url)).written)

    async def aclose(self) -> None:
        """Close the inner adapter, which has nothing open."""
        await self._inner.aclose()

    async def _sent(self, target: Target, method: str, upload: Upload) -> Written:
        with Copied(upload.chunks) as copied:
            broken: HeadraceError | None = None
            try:
                async for _ in copied:
                    pass
            except HeadraceError as fault:  # the far server may have refused it before it came to that
                broken = fault
            if copied.failed:
                raise NoRoom
            asked = Asked(method, target.url, body=copied.content())
            if broken is not None and not self._recordings.find(asked):
                raise broken
            return _part(self._play(target, asked).written)

    def _play(self, target: Target, asked: Asked) -> Told:
        found = self._recordings.find(asked)
        if not found:
            raise self._missing(target, asked)
        reply = self._next(asked, found).reply
        if isinstance(reply, Failure):
            raise fault_of(reply)
        assert isinstance(reply, Told)
        return reply

    def _next(self, asked: Asked, fit: Sequence[Exchange]) -> Exchange:
        chosen = self._turns.next(fit, (asked.offset, asked.count))
        self._recordings.used(chosen)
        return chosen

    def _missing(self, target: Target, asked: Asked) -> NotRecorded:
        fault = not_recorded(self._recordings, asked)
        fault.far = "" if target.url.startswith("file:") else "/".join(target.url.split("/")[:3])
        return fault


def _part(value: Part | None) -> Part:
    """What an answer has to hold: whatever reads a recording sees to that."""
    assert value is not None
    return value


def _covers(exchange: Exchange, offset: int, count: int | None) -> bool:
    """Whether a reading holds all of the bytes wanted, or says that there are no more."""
    told = exchange.reply
    if isinstance(told, Failure):
        return exchange.asked.offset == 0 and exchange.asked.count is None
    if not isinstance(told, Told) or told.content is None or told.failure is not None:
        return False
    end = told.offset + told.content.size
    size = told.size
    if size is None and exchange.asked.count is None:
        size = end
    if offset < told.offset:
        return False
    wanted = size if count is None else offset + count
    if size is not None and wanted is not None:
        wanted = min(wanted, size)
    return wanted is not None and wanted <= end


async def _bytes(told: Told, offset: int, count: int | None) -> AsyncIterator[bytes]:
    left = count
    for chunk in bytes_of(_part(told.content), max(0, offset - told.offset)):
        piece = chunk if left is None else chunk[:left]
        if not piece:
            return
        yield piece
        if left is not None:
            left -= len(piece)
    if told.failure is not None:
        raise fault_of(told.failure)


class PlayingFetch:
    """The same for an adapter without documents and folders."""

    def __init__(self, inner: Adapter, recordings: Recordings) -> None:
        self._inner = inner
        self._files = PlayingFiles(FileAdapter(), recordings)

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """What was fetched."""
        return await self._files.fetch(call, seconds)

    async def aclose(self) -> None:
        """Close the inner adapter, which has nothing open."""
        await self._inner.aclose()
