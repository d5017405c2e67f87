"""What was done to folders comes again, the same, when nothing is there any more."""

import shutil
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from adapters import limits
from adapters.errors import (
    AskedTooOften,
    BrokenOff,
    FarBusy,
    HeadraceError,
    NoRoom,
    NotPossible,
    NotRecorded,
    NotThere,
)
from adapters.files import Ability, FileAdapter, Kind, Listing, Reading, Stat, Target, Upload, Was, Written
from adapters.local.adapter import LocalAdapter
from adapters.port import Call, Fetched
from adapters.recorded import copies
from adapters.recorded.exchange import Asked, Content, Exchange, Told
from adapters.recorded.files.playing import PlayingFetch, PlayingFiles
from adapters.recorded.files.recording import RecordingFetch, RecordingFiles
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.redaction import Redactor
from tests.adapters.recorded.exchanges import NOON
from tests.adapters.recorded.test_copies import full

SECONDS = 10.0
AWKWARD = (b"a.txt", b"with blank", "Möwe.txt".encode(), b"M\xf6we.txt", b"100%.txt", b"new\nline", b"con")


def folder(path: Path) -> Folder:
    made = Folder(path, Hiding(Redactor()), lambda: datetime.now(UTC))
    made.load()
    return made


@pytest.fixture
def place(tmp_path: Path) -> Path:
    made = tmp_path / "place"
    (made / "one").mkdir(parents=True)
    for name in AWKWARD:
        Path(
            str(made.joinpath("one")).encode().decode(), name.decode("utf-8", "surrogateescape")
        ).write_bytes(name * 3)
    return made


def at(place: Path, path: str = "") -> Target:
    root = f"{place.as_uri()}/"
    return Target(root + path, root)


def upload(data: bytes) -> Upload:
    async def chunks() -> AsyncIterator[bytes]:
        for start in range(0, len(data), 7):
            yield data[start : start + 7]

    return Upload(chunks, len(data))


async def read(adapter: FileAdapter, target: Target, offset: int, count: int | None) -> tuple[bytes, Any]:
    async with adapter.read(target, offset, count, SECONDS) as reading:
        return b"".join([chunk async for chunk in reading.chunks]), (reading.size, reading.stat)


Step = Callable[[FileAdapter, Path], Awaitable[Any]]

STEPS: dict[str, Step] = {
    "list": lambda adapter, place: adapter.list(at(place, "one/"), SECONDS),
    "list without a slash": lambda adapter, place: adapter.list(at(place, "one"), SECONDS),
    "list nothing": lambda adapter, place: adapter.list(at(place, "two/"), SECONDS),
    "list a document": lambda adapter, place: adapter.list(at(place, "one/a.txt"), SECONDS),
    "stat": lambda adapter, place: adapter.stat(at(place, "one/a.txt"), SECONDS),
    "stat nothing": lambda adapter, place: adapter.stat(at(place, "one/b.txt"), SECONDS),
    "read": lambda adapter, place: read(adapter, at(place, "one/a.txt"), 0, None),
    "read a part": lambda adapter, place: read(adapter, at(place, "one/a.txt"), 3, 4),
    "read past the end": lambda adapter, place: read(adapter, at(place, "one/a.txt"), 99, 4),
    "read a folder": lambda adapter, place: read(adapter, at(place, "one"), 0, None),
    "fetch": lambda adapter, place: adapter.fetch(
        Call(at(place, "one/a.txt").url, root=at(place).root), SECONDS
    ),
    "write": lambda adapter, place: adapter.write(
        at(place, "one/new.txt"), upload(b"new bytes"), Was.ANYTHING, SECONDS
    ),
    "write where something is": lambda adapter, place: adapter.write(
        at(place, "one/a.txt"), upload(b"other"), Was.NOTHING, SECONDS
    ),
    "append": lambda adapter, place: adapter.append(
        at(place, "one/a.txt"), upload(b" and more"), Was.ANYTHING, SECONDS
    ),
    "erase": lambda adapter, place: adapter.erase(at(place, "one/a.txt"), SECONDS),
    "erase nothing": lambda adapter, place: adapter.erase(at(place, "one/b.txt"), SECONDS),
    "erase a full folder": lambda adapter, place: adapter.erase(at(place, "one"), SECONDS),
    "rename": lambda adapter, place: adapter.rename(at(place, "one/a.txt"), at(place, "one/b.txt"), SECONDS),
    "make a folder": lambda adapter, place: adapter.make_folder(at(place, "three"), SECONDS),
    "make a folder again": lambda adapter, place: adapter.make_folder(at(place, "one"), SECONDS),
    "copy": lambda adapter, place: adapter.copy(at(place, "one/a.txt"), at(place, "one/c.txt"), SECONDS),
}


def gone(path: Path) -> bool:
    return not path.exists()


async def result(adapter: FileAdapter, place: Path, step: Step) -> Any:
    try:
        done = await step(adapter, place)
    except HeadraceError as fault:
        seconds = fault.seconds if isinstance(fault, AskedTooOften | FarBusy) else None
        return type(fault), fault.sentence, seconds
    return replace(done, steps=()) if isinstance(done, Listing | Written | Fetched) else done


@pytest.mark.parametrize("name", STEPS)
async def test_the_same_as_live(name: str, place: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    live = RecordingFiles(LocalAdapter(), folder(site))
    first = await result(live, place, STEPS[name])
    await live.aclose()
    shutil.rmtree(place)
    playing = PlayingFiles(LocalAdapter(), folder(site))
    assert await result(playing, place, STEPS[name]) == first
    assert await result(playing, place, STEPS[name]) == first  # the last one comes for ever
    await playing.aclose()
    assert gone(place)


async def test_all_of_them_in_order(place: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    live = RecordingFiles(LocalAdapter(), folder(site))
    steps = [step for _ in range(2) for step in STEPS.values()]
    first = [await result(live, place, step) for step in steps]
    await live.aclose()
    shutil.rmtree(place)
    playing = PlayingFiles(LocalAdapter(), folder(site))
    assert [await result(playing, place, step) for step in steps] == first
    await playing.aclose()


async def test_names_come_byte_for_byte(place: Path, tmp_path: Path) -> None:
    live = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    entries = (await live.list(at(place, "one/"), SECONDS)).entries
    assert {entry.name for entry in entries} == set(AWKWARD)
    for entry in entries:
        await read(live, at(place, "one/").within(entry.name), 0, None)
    await live.aclose()
    shutil.rmtree(place)
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path / "site"))
    for entry in (await playing.list(at(place, "one/"), SECONDS)).entries:
        data, _ = await read(playing, at(place, "one/").within(entry.name), 0, None)
        assert data == entry.name * 3
    await playing.aclose()


async def test_a_whole_document_answers_for_its_parts_and_its_stat(place: Path, tmp_path: Path) -> None:
    live = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    whole, (size, stat) = await read(live, at(place, "one/a.txt"), 0, None)
    await live.aclose()
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path / "site"))
    for offset in range(len(whole) + 3):
        for count in (None, 0, 1, 5, 100):
            data, told = await read(playing, at(place, "one/a.txt"), offset, count)
            assert data == (whole[offset:] if count is None else whole[offset : offset + count])
            assert told == (size, stat)
    assert await playing.stat(at(place, "one/a.txt"), SECONDS) == stat
    await playing.aclose()


async def test_a_listing_tells_what_is_in_it(place: Path, tmp_path: Path) -> None:
    live = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    await live.list(at(place), SECONDS)
    await live.list(at(place, "one/"), SECONDS)
    await live.aclose()
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path / "site"))
    assert (await playing.stat(at(place, "one/a.txt"), SECONDS)).size == 15
    assert (await playing.stat(at(place, "one"), SECONDS)).kind is Kind.FOLDER
    with pytest.raises(NotRecorded):
        await playing.stat(at(place, "one/z.txt"), SECONDS)
    await playing.aclose()


async def test_a_part_answers_for_no_more_than_it_is(place: Path, tmp_path: Path) -> None:
    live = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    await read(live, at(place, "one/a.txt"), 2, 6)
    await live.aclose()
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path / "site"))
    assert (await read(playing, at(place, "one/a.txt"), 3, 4))[0] == b"xta."
    for offset, count in ((0, 3), (3, 6), (3, None)):
        with pytest.raises(NotRecorded):
            await read(playing, at(place, "one/a.txt"), offset, count)
    await playing.aclose()


async def test_other_bytes_were_not_written(place: Path, tmp_path: Path) -> None:
    live = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    await live.write(at(place, "one/new.txt"), upload(b"these bytes"), Was.ANYTHING, SECONDS)
    await live.aclose()
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path / "site"))
    with pytest.raises(NotRecorded) as caught:
        await playing.write(at(place, "one/new.txt"), upload(b"these bites"), Was.ANYTHING, SECONDS)
    assert dict(caught.value.notes)["NEAREST"].startswith("WRITE file:")
    assert "body" in dict(caught.value.notes)["DIFFERS"]
    await playing.aclose()


async def test_a_reader_that_leaves_early_leaves_a_part(tmp_path: Path) -> None:
    place = tmp_path / "place"
    place.mkdir()
    (place / "long.bin").write_bytes(bytes(300_000))
    live = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    async with live.read(at(place, "long.bin"), 0, None, SECONDS) as reading:
        async for _ in reading.chunks:
            break
    await live.aclose()
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path / "site"))
    assert (await read(playing, at(place, "long.bin"), 10, 1000))[0] == bytes(1000)
    with pytest.raises(NotRecorded):
        await read(playing, at(place, "long.bin"), 200_000, 1000)
    await playing.aclose()


async def test_abilities_are_the_inner_adapters(place: Path, tmp_path: Path) -> None:
    class Reader(LocalAdapter):
        can = Ability.READ

    for adapter in (RecordingFiles(Reader(), folder(tmp_path)), PlayingFiles(Reader(), folder(tmp_path))):
        assert adapter.abilities(at(place)) is Ability.READ
        await adapter.aclose()


async def test_an_adapter_that_only_fetches(tmp_path: Path) -> None:
    class Only:
        async def fetch(self, call: Call, seconds: float) -> Fetched:
            if call.url.endswith("no"):
                raise NotPossible("Not there")
            return Fetched(b"body", "text/plain", "latin-1", origin="odd://x.example")

        async def aclose(self) -> None:
            """Nothing is open."""

    live = RecordingFetch(Only(), folder(tmp_path))
    fetched = await live.fetch(Call("odd://x.example/yes"), SECONDS)
    await live.aclose()
    playing = PlayingFetch(Only(), folder(tmp_path))
    assert await playing.fetch(Call("odd://x.example/yes"), SECONDS) == fetched
    with pytest.raises(NotRecorded):
        await playing.fetch(Call("odd://x.example/other"), SECONDS)
    await playing.aclose()


class Lame(FileAdapter):
    """A far server that breaks off in the middle, or does not have it."""

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        if target.name == b"none":
            raise NotThere("Not there")

        async def chunks() -> AsyncIterator[bytes]:
            yield b"half"
            raise BrokenOff

        yield Reading(chunks(), offset, 8, Stat(Kind.FILE, 8))


async def test_what_broke_off_breaks_off_there_again(place: Path, tmp_path: Path) -> None:
    got = bytearray()
    for make in (RecordingFiles, PlayingFiles):
        adapter = make(Lame(), folder(tmp_path))
        with pytest.raises(BrokenOff):
            async with adapter.read(at(place, "lame"), 0, None, SECONDS) as reading:
                async for chunk in reading.chunks:
                    got += chunk
        if isinstance(adapter, RecordingFiles):
            continue
        with pytest.raises(NotRecorded):  # a part of it may be another story
            await read(adapter, at(place, "lame"), 1, 2)
    assert got == b"halfhalf"


async def test_what_was_not_there_is_not_there_in_parts_either(place: Path, tmp_path: Path) -> None:
    with pytest.raises(NotThere):
        await read(RecordingFiles(Lame(), folder(tmp_path)), at(place, "none"), 0, None)
    playing = PlayingFiles(Lame(), folder(tmp_path))
    with pytest.raises(NotThere):
        await read(playing, at(place, "none"), 3, 4)
    with pytest.raises(NotRecorded):  # what STAT would have said of it nobody knows
        await playing.stat(at(place, "none"), SECONDS)


def made_up(path: Path, asked: Asked, told: Told) -> PlayingFiles:
    made = folder(path)
    made.add(Exchange(asked, told, NOON))
    return PlayingFiles(Lame(), made)


@pytest.mark.parametrize(
    ("count", "offset", "wanted", "found"),
    [(None, 2, 3, b"cde"), (None, 2, None, b"cdef"), (6, 1, 2, b"bc"), (6, 1, 9, None), (6, 1, None, None)],
)
async def test_parts_of_a_document_of_unknown_size(
    place: Path, tmp_path: Path, count: int | None, offset: int, wanted: int | None, found: bytes | None
) -> None:
    """All of it was read, or its first six bytes, of perhaps more."""
    asked = Asked("READ", at(place, "x").url, offset=0, count=count)
    playing = made_up(tmp_path, asked, Told(stat=Stat(Kind.FILE), content=Content(b"abcdef")))
    if found is None:
        with pytest.raises(NotRecorded):
            await read(playing, at(place, "x"), offset, wanted)
    else:
        assert (await read(playing, at(place, "x"), offset, wanted))[0] == found


async def test_an_upload_that_breaks_off_or_finds_no_room(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    playing = PlayingFiles(LocalAdapter(), folder(tmp_path))

    async def broken() -> AsyncIterator[bytes]:
        yield b"half"
        raise BrokenOff

    with pytest.raises(BrokenOff):
        await playing.write(at(place, "x"), Upload(broken), Was.ANYTHING, SECONDS)
    monkeypatch.setattr(copies, "NamedTemporaryFile", full)
    with pytest.raises(NoRoom):
        await playing.write(at(place, "x"), upload(bytes(limits.STAGE_BYTES + 1)), Was.ANYTHING, SECONDS)
