"""A far server in memory, for tests: an adapter whose documents are a dict, and that fails on demand."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters.errors import ChangedMeanwhile, HeadraceError, NotThere
from adapters.files import (
    Ability,
    Condition,
    Digest,
    Entry,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Was,
    Written,
)
from adapters.port import Validators

ALL = ~Ability.NONE


class MemoryFiles(FileAdapter):
    """`documents`: URL -> bytes. `faults`: method -> the error it ends in. `hold`: reads and writes wait for
    it. `calls` are the methods used, in order.
    """

    def __init__(self, abilities: Ability = ALL) -> None:
        self.documents: dict[str, bytes] = {}
        self.faults: dict[str, HeadraceError] = {}
        self.hold: asyncio.Event | None = None
        self.digest: Digest | None = None
        self.told_size: int | None = None
        self.calls: list[str] = []
        self.folders: set[str] = set()
        self.able = abilities

    def abilities(self, target: Target) -> Ability:
        return self.able

    async def _call(self, method: str) -> None:
        self.calls.append(method)
        await asyncio.sleep(0)
        if method in self.faults:
            raise self.faults[method]

    async def list(self, target: Target, seconds: float) -> Listing:
        await self._call("list")
        names = [url.removeprefix(target.url) for url in self.documents if url.startswith(target.url)]
        return Listing(tuple(Entry(name.encode(), Kind.FILE) for name in names), origin="memory://far")

    async def stat(self, target: Target, seconds: float) -> Stat:
        await self._call("stat")
        return self._stat(target)

    def _stat(self, target: Target) -> Stat:
        if target.url not in self.documents:
            raise NotThere
        body = self.documents[target.url]
        if target.url in self.folders:
            return Stat(Kind.FOLDER, origin="memory://far")
        return Stat(Kind.FILE, len(body), validators=Validators(f'"{hash(body)}"'), origin="memory://far")

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        await self._call("read")
        stat = self._stat(target)
        body = self.documents[target.url]
        wanted = body[offset:] if count is None else body[offset : offset + count]
        size = len(body) if self.told_size is None else self.told_size
        yield Reading(self._pieces(wanted), offset, size, stat, self.digest)

    async def _pieces(self, data: bytes) -> AsyncIterator[bytes]:
        for start in range(0, len(data), 7):
            if self.hold is not None:
                await self.hold.wait()
            yield data[start : start + 7]
            await self._call("piece")

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        await self._call("write")
        before = self.documents.get(target.url)
        if (condition is Was.NOTHING and before is not None) or (
            isinstance(condition, Stat) and (before is None or condition != self._stat(target))
        ):
            raise ChangedMeanwhile
        body = b""
        async for chunk in upload.chunks():
            if self.hold is not None:
                await self.hold.wait()
            body += chunk
        await self._call("commit")
        self.documents[target.url] = body
        return Written(len(body), "size")

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        await self._call("append")
        before = self.documents.get(target.url, b"")
        written = await self.write(target, upload, Was.ANYTHING, seconds)
        self.documents[target.url] = before + self.documents[target.url]
        return written

    async def erase(self, target: Target, seconds: float) -> None:
        await self._call("erase")
        self._stat(target)
        del self.documents[target.url]

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        await self._call("rename")
        self.documents[to.url] = self.documents.pop(target.url)

    async def make_folder(self, target: Target, seconds: float) -> None:
        await self._call("make_folder")

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        await self._call("copy")
        self.documents[to.url] = self.documents[target.url]
        return Written(len(self.documents[to.url]), "size")
