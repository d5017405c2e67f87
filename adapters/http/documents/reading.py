"""Target, offset and count -> Reading: a document or a part of it, over as many exchanges as it takes.

A range is asked for (RFC 9110 section 14) and what comes is believed only as far as it can be checked:

| answer | what is made of it |
| --- | --- |
| 206 with the range, or with more around it | the bytes wanted of it |
| 206 with less | those; the rest is asked for again |
| 206 with another range, several parts, or no Content-Range | the whole is asked for, and skipped through |
| 200 | skipped through to the offset, and left when the bytes wanted are here |
| 416 at or past the end | no bytes |
| 416 inside of the document | the whole is asked for, and skipped through |

What breaks off is taken up where it broke, limits.READ_RESUMES times at most and within the time there is,
where the server has ranges and a validator that holds for ranges (If-Range, section 13.1.5). Where it then
is another document: ChangedMeanwhile.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from datetime import datetime

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, ChangedMeanwhile, FarBusy, WrongDocument
from adapters.files import Reading, Target
from adapters.http.answer.content_range import ContentRange, content_range, unsatisfied_size
from adapters.http.answer.digests import WANTED, document_digest
from adapters.http.answer.validators import range_validator
from adapters.http.client import Answer, HttpClient, Request
from adapters.http.documents.looking import document_size, look, stat_of


@dataclass(frozen=True, slots=True)
class Wanted:
    """`count` bytes (None: all) of a document, from `offset`."""

    target: Target
    offset: int = 0
    count: int | None = None


@asynccontextmanager
async def reading(
    client: HttpClient, wanted: Wanted, seconds: float, now: Callable[[], datetime]
) -> AsyncIterator[Reading]:
    """These bytes, all of them within `seconds` from now. Leaving early stops the transfer."""
    async with AsyncExitStack() as stack:
        yield await _Transfer(client, wanted, seconds, now, stack).begin()


@dataclass(slots=True)
class _Source:
    """One answer's bytes. `skip` of them come before the wanted ones, `end` is where they end."""

    answer: Answer
    skip: int = 0
    end: int | None = None


class _Transfer:
    def __init__(
        self,
        client: HttpClient,
        wanted: Wanted,
        seconds: float,
        now: Callable[[], datetime],
        stack: AsyncExitStack,
    ) -> None:
        self._client = client
        self._target, self._offset, self._count = wanted.target, wanted.offset, wanted.count
        self._clock = asyncio.get_running_loop().time
        self._deadline = self._clock() + seconds
        self._now = now
        self._stack = stack
        self._position = wanted.offset
        self._end: int | None = None if wanted.count is None else wanted.offset + wanted.count
        self._size: int | None = None
        self._validator: str | None = None
        self._resumes = 0

    async def begin(self) -> Reading:
        """The first exchange, up to its header section."""
        if self._count == 0:
            return await self._nothing()
        ranged = self._offset > 0 or self._count is not None
        answer = await self._ask(ranged=ranged)
        if answer.status == 416 and ranged:
            told = unsatisfied_size(answer.fields.first("content-range"))
            await self._leave()
            empty = await self._nothing()
            size = told if empty.size is None else empty.size
            if size is None or self._offset >= size:
                return empty
            ranged = False  # there are no ranges after all
            answer = await self._ask(ranged=False)
        part = _part(answer)
        if answer.status == 206 and ranged and not _holds(part, self._offset):
            await self._leave()
            ranged = False
            answer = await self._ask(ranged=False)
            part = _part(answer)
        if answer.fault is not None:
            raise answer.fault
        if answer.status == 206 and not ranged:
            raise WrongDocument("Not what was asked for")
        size = document_size(answer)
        source = (
            _Source(answer, self._offset, size)
            if part is None
            else _Source(answer, self._offset - part.first, part.last + 1)
        )
        self._size = size
        if size is not None:
            self._end = size if self._end is None else min(self._end, size)
        offers = part is not None or answer.fields.joined("accept-ranges").lower() == "bytes"
        self._validator = range_validator(answer.fields, self._now()) if offers else None
        return Reading(
            chunks=self._chunks(source),
            offset=self._offset,
            size=size,
            stat=stat_of(answer, self._target, size, self._now()),
            digest=None if answer.decoded else document_digest(answer.fields, whole=part is None),
            steps=answer.steps,
        )

    async def _nothing(self) -> Reading:
        found = await look(self._client, self._target, self._left, self._now())
        return Reading(_no_chunks(), self._offset, found.stat.size, found.stat)

    @property
    def _left(self) -> float:
        return self._deadline - self._clock()

    async def _ask(self, *, ranged: bool) -> Answer:
        headers = [("Want-Repr-Digest", WANTED)]
        if ranged:
            last = "" if self._end is None else str(self._end - 1)
            headers.append(("Range", f"bytes={self._position}-{last}"))
            if self._validator is not None:
                headers.append(("If-Range", self._validator))
        request = Request("GET", self._target, headers=tuple(headers))
        return await self._stack.enter_async_context(self._client.exchange(request, self._left))

    async def _leave(self) -> None:
        await self._stack.aclose()

    async def _chunks(self, source: _Source) -> AsyncIterator[bytes]:
        while not self._done():
            broken = BrokenOff()
            try:
                async for chunk in source.answer.chunks:
                    wanted = self._wanted(source, chunk)
                    if wanted:
                        yield wanted
                    if self._done() and source.end != self._end:
                        return  # more would come
            except BrokenOff as error:
                broken = error
            else:
                if source.end is None:
                    return  # it ended where the server says that it ends
                if self._position >= source.end:
                    self._resumes = 0  # it gave what it had announced, which was less than was asked for
            if not self._done():
                source = await self._resume(broken)

    def _done(self) -> bool:
        return self._end is not None and self._position >= self._end

    def _wanted(self, source: _Source, chunk: bytes) -> bytes:
        """What of a chunk is wanted; the position moves on by as much."""
        if source.skip:
            skipped = min(source.skip, len(chunk))
            source.skip -= skipped
            chunk = chunk[skipped:]
        for end in (self._end, source.end):
            if end is not None and len(chunk) > end - self._position:
                chunk = chunk[: max(0, end - self._position)]
        self._position += len(chunk)
        return chunk

    async def _resume(self, broken: BrokenOff) -> _Source:
        """Another exchange for what is still missing, or `broken`."""
        while True:
            if self._validator is None or self._resumes >= limits.READ_RESUMES:
                raise broken
            await self._leave()
            pause = limits.RESUME_SECONDS * self._resumes
            self._resumes += 1
            if pause >= self._left:
                raise broken
            await asyncio.sleep(pause)
            try:
                answer = await self._ask(ranged=True)
            except (BrokenOff, CannotConnect):
                continue
            if isinstance(answer.fault, FarBusy):
                continue
            return self._continued(answer, broken)

    def _continued(self, answer: Answer, broken: BrokenOff) -> _Source:
        part = _part(answer)
        if answer.status == 416 and self._size is None:
            self._end = self._position  # nobody knew where it ends: here
            return _Source(answer, 0, self._position)
        if answer.fault is not None:
            raise broken from answer.fault
        if answer.decoded:
            raise broken
        same = range_validator(answer.fields, self._now()) == self._validator
        if part is not None:
            told = answer.fields.first("etag") is not None
            other_size = self._size is not None and part.complete not in (None, self._size)
            if (told and not same) or other_size:
                raise ChangedMeanwhile("The document changed meanwhile")
            if not _holds(part, self._position):
                raise broken
            return _Source(answer, self._position - part.first, part.last + 1)
        if answer.status == 206:
            raise broken
        if not same:
            raise ChangedMeanwhile("The document changed meanwhile")
        return _Source(answer, self._position, document_size(answer))  # no ranges after all


def _part(answer: Answer) -> ContentRange | None:
    """Which part this is; None for the whole, and for what cannot be used."""
    if answer.status != 206 or answer.decoded:
        return None
    return content_range(answer.fields.first("content-range"))


def _holds(part: ContentRange | None, position: int) -> bool:
    return part is not None and part.first <= position <= part.last


async def _no_chunks() -> AsyncIterator[bytes]:
    nothing: tuple[bytes, ...] = ()
    for chunk in nothing:
        yield chunk  # pragma: no cover — there is none; a generator has a yield
