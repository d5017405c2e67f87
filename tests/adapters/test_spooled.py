"""Bytes kept and given again, in memory and in a file."""

from collections.abc import AsyncIterator

import pytest

from adapters import limits
from adapters.errors import NoRoom
from adapters.spooled import Spooled


async def of(*pieces: bytes) -> AsyncIterator[bytes]:
    for piece in pieces:
        yield piece


@pytest.mark.parametrize("size", [0, 1, 1_000, 100_000])
async def test_again_and_again(size: int) -> None:
    body = bytes(range(250)) * (size // 250) + b"x" * (size % 250)
    async with Spooled(in_memory=1_000) as spool:
        for start in range(0, size, 300):
            await spool.add(body[start : start + 300])
        assert spool.size == size
        for _ in range(2):
            assert (
                b"".join([each async for each in spool.followed_by(of(b"and", b"more"))]) == body + b"andmore"
            )


async def test_a_full_disk_is_no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    async with Spooled(in_memory=10) as spool:

        def full(data: bytes) -> int:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(spool._file, "write", full)
        with pytest.raises(NoRoom):
            await spool.add(b"x" * 100)


async def test_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPOOL_BYTES", 10)
    async with Spooled() as spool:
        await spool.add(b"0123456789")
        with pytest.raises(NoRoom):
            await spool.add(b"x")


async def test_what_was_kept_and_is_lost_is_no_room_too(monkeypatch: pytest.MonkeyPatch) -> None:
    async with Spooled(in_memory=10) as spool:
        await spool.add(b"0123456789")

        def broken(size: int) -> bytes:
            raise OSError(5, "Input/output error")

        for read in (broken, lambda size: b""):
            monkeypatch.setattr(spool._file, "read", read)
            with pytest.raises(NoRoom):
                await anext(spool.followed_by(of(b"more")))
