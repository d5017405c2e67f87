"""What every adapter keeps where it writes and appends; a part of `file_contract`."""

import asyncio
from time import perf_counter

import pytest

from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    HeadraceError,
    MayBeDone,
    NotThere,
    TooSlow,
)
from adapters.files import Ability, Condition, Was, Written
from tests.adapters.file_reading import AWKWARD, BODIES
from tests.adapters.file_stands import (
    SECONDS,
    FileStand,
    broken,
    endless,
    fails,
    lacks,
    upload,
    write,
)


class WritingContract:
    """Needs the fixture `stand`."""

    # Writing

    @pytest.mark.parametrize("body", BODIES, ids=len)
    @pytest.mark.parametrize("known", [True, False], ids=["size known", "size unknown"])
    async def test_writing_and_replacing(self, stand: FileStand, body: bytes, known: bool) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        stand.put(b"old", b"old " * 100_000)
        size = len(body) if known else None
        for name in (b"new", b"old"):
            data = upload(body, size=size, repeatable=known)
            written = await stand.adapter.write(stand.at(name), data, Was.ANYTHING, SECONDS)
            assert written.size == len(body)
            assert stand.peek(name) == body
        assert stand.names() == {b"new", b"old"}

    async def test_awkward_names_are_written(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        names = [name for name in AWKWARD if stand.takes(name)]
        for name in names:
            await write(stand, name, b"of " + name)
        assert {name: stand.peek(name) for name in stand.names()} == {name: b"of " + name for name in names}

    async def test_only_where_nothing_is(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        stand.put(b"old", b"as it was")
        await fails(stand, write(stand, b"old", b"new", Was.NOTHING), ChangedMeanwhile)
        await write(stand, b"new", b"new", Was.NOTHING)
        assert (stand.peek(b"old"), stand.peek(b"new")) == (b"as it was", b"new")
        assert stand.names() == {b"old", b"new"}

    async def test_only_what_was_looked_at(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE, Ability.STAT):
            return
        stand.put(b"old", b"as it was")
        seen = await stand.adapter.stat(stand.at(b"old"), SECONDS)
        stand.put(b"old", b"as somebody else left it")
        await fails(stand, write(stand, b"old", b"new", seen), ChangedMeanwhile)
        assert stand.peek(b"old") == b"as somebody else left it"
        seen = await stand.adapter.stat(stand.at(b"old"), SECONDS)
        await write(stand, b"old", b"new", seen)
        assert stand.peek(b"old") == b"new"
        await fails(stand, write(stand, b"gone", b"new", seen), ChangedMeanwhile)
        assert stand.names() == {b"old"}

    @pytest.mark.parametrize("size", [None, 200_000], ids=["size unknown", "size known"])
    async def test_an_upload_that_breaks_off_leaves_what_was(
        self, stand: FileStand, size: int | None
    ) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        stand.put(b"old", b"as it was")
        for name in (b"old", b"new"):
            for sent in (0, 1, 150_000):
                data = broken(b"n" * sent, size)
                doing = stand.adapter.write(stand.at(name), data, Was.ANYTHING, SECONDS)
                fault = await fails(stand, doing, BrokenOff)
                assert fault.sentence == "The source broke off"
        assert (stand.peek(b"old"), stand.names()) == (b"as it was", {b"old"})
        await write(stand, b"old", b"new")
        assert stand.peek(b"old") == b"new"

    @pytest.mark.parametrize("size", [1, 99_999, 100_001], ids=lambda size: f"said {size}")
    async def test_an_upload_of_another_size_than_it_said(self, stand: FileStand, size: int) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        stand.put(b"old", b"as it was")
        data = upload(bytes(100_000), size=size)
        await fails(stand, stand.adapter.write(stand.at(b"old"), data, Was.ANYTHING, SECONDS))
        assert (stand.peek(b"old"), stand.names()) == (b"as it was", {b"old"})

    async def test_an_upload_that_stalls_ends_in_time(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        stand.put(b"old", b"as it was")
        began = perf_counter()
        doing = stand.adapter.write(stand.at(b"old"), endless(asyncio.Event()), Was.ANYTHING, 1.0)
        await fails(stand, doing, TooSlow)
        assert perf_counter() - began < 5
        assert stand.peek(b"old") == b"as it was"

    async def test_a_cancelled_upload_leaves_what_was(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        stand.put(b"old", b"as it was")
        began = asyncio.Event()
        writing = asyncio.create_task(
            stand.adapter.write(stand.at(b"old"), endless(began), Was.ANYTHING, SECONDS)
        )
        await began.wait()
        writing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await writing
        assert stand.peek(b"old") == b"as it was"
        await write(stand, b"old", b"new")
        assert stand.peek(b"old") == b"new"

    async def test_ten_at_once_end_in_one_of_them(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        bodies = [bytes([65 + number]) * (100_000 + number) for number in range(10)]
        done = await asyncio.gather(
            *(write(stand, b"target", body) for body in bodies), return_exceptions=True
        )
        assert any(isinstance(each, Written) for each in done)
        assert all(isinstance(each, Written | HeadraceError) for each in done)
        assert stand.peek(b"target") in bodies
        left = stand.names() - {b"target"}
        assert all(name.endswith(b".part") for name in left)  # it may have been all there was
        assert len(left) <= sum(isinstance(each, MayBeDone) for each in done)

    async def test_no_folder_to_write_in(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.WRITE):
            return
        await fails(stand, write(stand, b"missing/new", b"new"), NotThere)
        assert stand.names() == set()

    # Appending

    async def test_appending(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.APPEND):
            return
        log = stand.at(b"log")
        for body in (b"one\n", b"", bytes(200_000), b"two\n"):
            before = stand.peek(b"log") or b""
            written = await stand.adapter.append(log, upload(body, size=len(body)), Was.ANYTHING, SECONDS)
            assert written.size == len(body)
            assert stand.peek(b"log") == before + body
        await stand.adapter.append(stand.at(b"empty"), upload(b""), Was.ANYTHING, SECONDS)
        assert stand.peek(b"empty") == b""
        await stand.adapter.append(stand.at(b"new"), upload(b"x", repeatable=False), Was.NOTHING, SECONDS)
        assert stand.peek(b"new") == b"x"
        assert stand.names() == {b"log", b"empty", b"new"}

    async def test_appending_is_all_or_nothing(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.APPEND):
            return
        stand.put(b"log", b"as it was")
        for name in (b"log", b"new"):
            for sent in (0, 1, 150_000):
                doing = stand.adapter.append(stand.at(name), broken(b"n" * sent), Was.ANYTHING, SECONDS)
                await fails(stand, doing, BrokenOff)
        assert (stand.peek(b"log"), stand.names()) == (b"as it was", {b"log"})

    async def test_appending_keeps_conditions(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.APPEND, Ability.STAT):
            return
        stand.put(b"log", b"as it was")
        seen = await stand.adapter.stat(stand.at(b"log"), SECONDS)
        stand.put(b"log", b"as somebody else left it")
        conditions: tuple[Condition, ...] = (Was.NOTHING, seen)
        for condition in conditions:
            doing = stand.adapter.append(stand.at(b"log"), upload(b"x"), condition, SECONDS)
            await fails(stand, doing, ChangedMeanwhile)
        assert (stand.peek(b"log"), stand.names()) == (b"as somebody else left it", {b"log"})
        seen = await stand.adapter.stat(stand.at(b"log"), SECONDS)
        await stand.adapter.append(stand.at(b"log"), upload(b"!"), seen, SECONDS)
        assert stand.peek(b"log") == b"as somebody else left it!"
