"""One operation of each kind on the scripted server, and what has to hold after each fault."""

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from adapters.errors import HeadraceError
from adapters.files import Was
from adapters.ftp.adapter import FtpAdapter
from tests.adapters.contract import tells_nothing_private
from tests.adapters.file_contract import upload
from tests.adapters.ftp.scripted import SECRET, Scripted

SECONDS = 10.0
OLD = b"as it was"
NEW = bytes(range(256)) * 1000

Doing = Callable[[FtpAdapter, Scripted, float], Awaitable[object]]


async def listing(adapter: FtpAdapter, server: Scripted, seconds: float) -> object:
    return await adapter.list(server.target, seconds)


async def reading(adapter: FtpAdapter, server: Scripted, seconds: float) -> object:
    async with adapter.read(server.target.within(b"old"), 0, None, seconds) as found:
        return b"".join([chunk async for chunk in found.chunks])


async def writing(adapter: FtpAdapter, server: Scripted, seconds: float) -> object:
    return await adapter.write(
        server.target.within(b"old"), upload(NEW, size=len(NEW)), Was.ANYTHING, seconds
    )


async def renaming(adapter: FtpAdapter, server: Scripted, seconds: float) -> object:
    await adapter.rename(server.target.within(b"old"), server.target.within(b"to"), seconds)
    return None


async def erasing(adapter: FtpAdapter, server: Scripted, seconds: float) -> object:
    await adapter.erase(server.target.within(b"old"), seconds)
    return None


async def making(adapter: FtpAdapter, server: Scripted, seconds: float) -> object:
    await adapter.make_folder(server.target.within(b"to"), seconds)
    return None


async def fails(doing: Awaitable[object], *kinds: type[HeadraceError]) -> HeadraceError:
    with pytest.raises(HeadraceError) as caught:
        await doing
    assert type(caught.value) in kinds, repr(caught.value)
    tells_nothing_private(caught.value)
    assert SECRET not in caught.value.far + repr(caught.value.__cause__)
    return caught.value


async def still_well(adapter: FtpAdapter, server: Scripted, old: bytes | None = OLD) -> None:
    """The target is as it was, nothing lies beside it, and the pool is not poisoned."""
    server.faults.clear()
    assert server.documents.get(b"/pub/old") == old
    assert server.parts() == []
    server.documents[b"/pub/fresh"] = NEW
    for _ in range(3):
        async with adapter.read(server.target.within(b"fresh"), 0, None, SECONDS) as found:
            assert b"".join([chunk async for chunk in found.chunks]) == NEW
    listed = await adapter.list(server.target, SECONDS)
    assert b"fresh" in {each.name for each in listed.entries}


async def until(holds: Callable[[], bool]) -> None:
    """Wait for what the server is about to do, five seconds at most."""
    for _ in range(500):
        if holds():
            return
        await asyncio.sleep(0.01)
    pytest.fail("it did not come to that")
