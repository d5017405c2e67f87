"""An adapter for the contract suites: everything is done live and recorded, then played, and what is played
is what the test gets.

What the gateway itself refuses is not kept, and comes from the live call; that nothing was kept is checked.
"""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from adapters.errors import HeadraceError, NotAllowed, NotPossible
from adapters.files import Ability, Condition, FileAdapter, Listing, Reading, Stat, Target, Upload, Written
from adapters.port import Call, Fetched
from adapters.recorded.exchange import Asked
from adapters.recorded.files.playing import PlayingFiles
from adapters.recorded.files.recording import RecordingFiles
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.redaction import Redactor

Done = TypeVar("Done")


def folder(path: Path) -> Folder:
    """As it is on disk."""
    made = Folder(path, Hiding(Redactor()), lambda: datetime.now(UTC))
    made.load()
    return made


class _Unused(FileAdapter):
    """Stands where the inner adapter was: whatever asks it fails."""

    def __init__(self, inner: FileAdapter) -> None:
        self._inner = inner

    def abilities(self, target: Target) -> Ability:
        return self._inner.abilities(target)


class LiveThenPlayed(FileAdapter):
    """`inner`, with a folder of recordings at `site`. `played` counts what the recording answered."""

    def __init__(self, inner: FileAdapter, site: Path) -> None:
        self._site = site
        self._folder = folder(site)
        self._live = RecordingFiles(inner, self._folder)
        self._playing = PlayingFiles(_Unused(inner), self._folder)
        self.played = 0

    def check(self) -> None:
        """What is on disk, read anew, is what was played."""
        assert list(folder(self._site).exchanges()) == list(self._folder.exchanges())

    def abilities(self, target: Target) -> Ability:
        return self._live.abilities(target)

    async def list(self, target: Target, seconds: float) -> Listing:
        listing = await self._twice(Asked("LIST", target.url), lambda each: each.list(target, seconds))
        return replace(listing, steps=())

    async def stat(self, target: Target, seconds: float) -> Stat:
        return await self._twice(Asked("STAT", target.url), lambda each: each.stat(target, seconds))

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        async def whole(adapter: FileAdapter) -> tuple[bytes, Reading]:
            async with adapter.read(target, offset, count, seconds) as reading:
                data = b"".join([chunk async for chunk in reading.chunks])
            return data, replace(reading, chunks=_pieces(b""), steps=())

        asked = Asked("READ", target.url, offset=offset, count=count)
        data, reading = await self._twice(asked, whole)
        yield replace(reading, chunks=_pieces(data))

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        sent = _Sent(upload)
        return await self._twice(
            Asked("WRITE", target.url), lambda each: each.write(target, sent.upload, condition, seconds), sent
        )

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        sent = _Sent(upload)
        return await self._twice(
            Asked("APPEND", target.url),
            lambda each: each.append(target, sent.upload, condition, seconds),
            sent,
        )

    async def erase(self, target: Target, seconds: float) -> None:
        await self._twice(Asked("ERASE", target.url), lambda each: each.erase(target, seconds))

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        asked = Asked("RENAME", target.url, to=to.url)
        await self._twice(asked, lambda each: each.rename(target, to, seconds))

    async def make_folder(self, target: Target, seconds: float) -> None:
        await self._twice(Asked("MKDIR", target.url), lambda each: each.make_folder(target, seconds))

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        asked = Asked("COPY", target.url, to=to.url)
        return await self._twice(asked, lambda each: each.copy(target, to, seconds))

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        fetched = await self._twice(Asked("READ", call.url), lambda each: each.fetch(call, seconds))
        return replace(fetched, steps=())

    async def aclose(self) -> None:
        await self._live.aclose()

    async def _twice(
        self, asked: Asked, doing: Callable[[FileAdapter], Awaitable[Done]], sent: "_Sent | None" = None
    ) -> Done:
        before = len(list(self._folder.exchanges()))
        try:
            live = await doing(self._live)
        except HeadraceError as fault:
            if isinstance(fault, NotAllowed) or (isinstance(fault, NotPossible) and not fault.far):
                assert len(list(self._folder.exchanges())) == before
                raise
            await self._fails(doing, fault, sent)
            raise AssertionError(f"{asked.method} is played, and failed live: {fault!r}") from fault
        if sent is not None:
            sent.again()
        played = await doing(self._playing)
        assert _lasting(played) == _lasting(live)
        self.played += 1
        return played

    async def _fails(
        self,
        doing: Callable[[FileAdapter], Awaitable[Done]],
        fault: HeadraceError,
        sent: "_Sent | None",
    ) -> None:
        """As it failed live."""
        if sent is not None:
            sent.again()
        try:
            await doing(self._playing)
        except HeadraceError as played:
            assert (type(played), played.sentence, played.far) == (type(fault), fault.sentence, fault.far)
            self.played += 1
            raise


class _Sent:
    """An upload that can be sent again as it was sent the first time, its failure too."""

    def __init__(self, upload: Upload) -> None:
        self._upload = upload
        self._kept: list[bytes] = []
        self._failed: HeadraceError | None = None
        self.upload = replace(upload, chunks=self._first)

    def again(self) -> None:
        """From now on what was sent, instead of what is there to be sent."""
        self.upload = replace(self._upload, chunks=self._second)

    async def _first(self) -> AsyncIterator[bytes]:
        self._kept = []
        try:
            async for chunk in self._upload.chunks():
                self._kept.append(chunk)
                yield chunk
        except HeadraceError as fault:
            self._failed = self._failed or fault  # the first one was told where it was
            raise

    async def _second(self) -> AsyncIterator[bytes]:
        for chunk in self._kept:
            yield chunk
        if self._failed is not None:
            raise self._failed


async def _pieces(data: bytes) -> AsyncIterator[bytes]:
    for start in range(0, len(data), 65_536):
        yield data[start : start + 65_536]


def _lasting(done: object) -> object:
    """Without how long each part took, and what cannot be compared."""
    if isinstance(done, tuple):
        data, reading = done
        return data, replace(reading, chunks=None)
    if isinstance(done, Listing | Written | Fetched):
        return replace(done, steps=())
    return done
