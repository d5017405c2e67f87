"""Bytes on their way somewhere are copied, in memory or on disk, and never held up by that."""

import asyncio
import errno
import os
from collections.abc import AsyncIterator, Callable
from tempfile import NamedTemporaryFile
from typing import Any

import pytest

from adapters import limits
from adapters.errors import BrokenOff
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Content

SHORT = [b"one ", b"two"]
LONG = [bytes([number]) * (limits.STAGE_BYTES // 3) for number in range(5)]


def full(**options: Any) -> Any:
    """A file on a disk that takes nothing."""
    file = NamedTemporaryFile(**options)  # noqa: SIM115 - closed by who asked for it

    def write(_: bytes) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    file.write = write  # type: ignore[assignment]
    return file


def giving(chunks: list[bytes]) -> Callable[[], AsyncIterator[bytes]]:
    async def chunked() -> AsyncIterator[bytes]:
        for chunk in chunks:
            yield chunk

    return chunked


@pytest.mark.parametrize("chunks", [[], SHORT, LONG], ids=["none", "short", "long"])
async def test_the_same_bytes_and_a_copy_however_often_they_are_sent(chunks: list[bytes]) -> None:
    with Copied(giving(chunks)) as copied:
        assert copied.content() == Content()
        for _ in range(2):
            assert [chunk async for chunk in copied] == chunks
            assert copied.content() == Content(b"".join(chunks))


async def test_what_is_short_stays_in_memory_and_a_file_is_gone_at_the_end() -> None:
    with Copied(giving(SHORT)) as copied:
        assert [chunk async for chunk in copied] == SHORT
        assert copied.content().path is None
    with Copied(giving(LONG)) as copied:
        assert [chunk async for chunk in copied] == LONG
        path = copied.content().path
        assert path is not None
        assert path.stat().st_size == sum(map(len, LONG))
    assert not path.exists()


async def test_sent_in_part_is_copied_in_part() -> None:
    with Copied(giving(SHORT)) as copied:
        async for _ in copied:
            break
        assert copied.content() == Content(SHORT[0])


async def test_a_full_disk_holds_nothing_up(monkeypatch: pytest.MonkeyPatch) -> None:
    states = []
    with Copied(giving(LONG)) as copied:
        for make in (full, NamedTemporaryFile):
            monkeypatch.setattr(f"{Copied.__module__}.NamedTemporaryFile", make)
            assert [chunk async for chunk in copied] == LONG
            states.append(copied.failed)
        assert states == [True, False]
        assert copied.content() == Content(b"".join(LONG))


async def test_what_was_not_sent_is_copied_where_it_can_be_had_again() -> None:
    with Copied(giving(SHORT), giving(SHORT)) as copied:
        await copied.complete()  # nothing was sent at all
        assert copied.content() == Content(b"one two")
    for again, expected in ((giving(LONG), b"".join(LONG)), (None, LONG[0])):
        with Copied(giving(LONG), again) as copied:
            async for _ in copied:
                break
            await copied.complete()
            assert copied.content() == Content(expected)


async def test_what_was_sent_whole_is_not_asked_for_again() -> None:
    def never() -> AsyncIterator[bytes]:
        raise AssertionError("asked again")

    with Copied(giving(SHORT), never) as copied:
        assert [chunk async for chunk in copied] == SHORT
        await copied.complete()
        assert copied.content() == Content(b"one two")


@pytest.mark.parametrize("ends", ["never", "badly"])
async def test_what_cannot_be_had_in_time_is_copied_in_part(
    ends: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "RECORDED_REST_SECONDS", 0.05)

    async def chunks() -> AsyncIterator[bytes]:
        yield b"one "
        if ends == "badly":
            raise BrokenOff
        await asyncio.Event().wait()

    with Copied(chunks, chunks) as copied:
        await copied.complete()
        assert copied.content() == Content(b"one ")
