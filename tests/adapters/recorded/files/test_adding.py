"""What was recorded is played; what was not is asked for and recorded; nothing is changed."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from adapters.errors import CannotConnect, NotRecorded, NotThere
from adapters.files import Ability, FileAdapter, Kind, Listing, Reading, Stat, Target, Was
from adapters.local.adapter import LocalAdapter
from adapters.port import Call, Fetched
from adapters.recorded.answers import AnswersOnly
from adapters.recorded.exchange import Failure
from adapters.recorded.files.adding import AddingFetch, AddingFiles
from adapters.recorded.files.playing import PlayingFiles
from adapters.recorded.files.recording import RecordingFetch, RecordingFiles
from tests.adapters.recorded.files.test_recording import SECONDS, at, folder, kept, upload


class Unreachable(FileAdapter):
    """No network."""

    async def list(self, target: Target, seconds: float) -> Listing:
        raise CannotConnect("Nobody there")

    async def stat(self, target: Target, seconds: float) -> Stat:
        raise CannotConnect("Nobody there")

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        if self.can is Ability.NONE:
            raise CannotConnect("Nobody there")
        yield Reading(upload(b"").chunks(), 0, 0, Stat(Kind.FILE, 0))


def adding(site: Path, inner: FileAdapter) -> AddingFiles:
    recordings = folder(site)
    return AddingFiles(RecordingFiles(inner, AnswersOnly(recordings)), recordings)


async def read(adapter: FileAdapter, target: Target) -> bytes:
    async with adapter.read(target, 0, None, SECONDS) as reading:
        return b"".join([chunk async for chunk in reading.chunks])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    made = tmp_path / "place"
    made.mkdir()
    (made / "note").write_bytes(b"a note")
    return made


async def test_what_is_missing_is_asked_for_and_kept(place: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    adapter = adding(site, LocalAdapter())
    listing = await adapter.list(at(place), SECONDS)
    stat = await adapter.stat(at(place, "note"), SECONDS)
    assert await read(adapter, at(place, "note")) == b"a note"
    (place / "note").write_bytes(b"another")
    assert await read(adapter, at(place, "note")) == b"a note"
    await adapter.aclose()
    without = PlayingFiles(Unreachable(), folder(site))
    assert (await without.list(at(place), SECONDS)).entries == listing.entries
    assert (await without.stat(at(place, "note"), SECONDS)).size == stat.size
    assert await read(without, at(place, "note")) == b"a note"


async def test_without_a_network_it_is_as_offline_and_nothing_is_kept(place: Path, tmp_path: Path) -> None:
    adapter = adding(tmp_path / "site", Unreachable())
    target = at(place, "note")
    for ask in (adapter.list(at(place), SECONDS), adapter.stat(target, SECONDS), read(adapter, target)):
        with pytest.raises(NotRecorded):
            await ask
    assert kept(tmp_path / "site") == []


async def test_a_change_goes_nowhere(place: Path, tmp_path: Path) -> None:
    adapter = adding(tmp_path / "site", LocalAdapter())
    target, to = at(place, "note"), at(place, "other")
    for change in (
        adapter.write(target, upload(b"new"), Was.ANYTHING, SECONDS),
        adapter.append(target, upload(b"new"), Was.ANYTHING, SECONDS),
        adapter.erase(target, SECONDS),
        adapter.rename(target, to, SECONDS),
        adapter.make_folder(to, SECONDS),
        adapter.copy(target, to, SECONDS),
    ):
        with pytest.raises(NotRecorded):
            await change
    left = await adapter.list(at(place), SECONDS)
    assert [(entry.name, entry.size) for entry in left.entries] == [(b"note", 6)]


class Bell:
    """An adapter that fetches and does nothing else; counts how often."""

    rung = 0

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        self.rung += 1
        return Fetched(b"ding")

    async def aclose(self) -> None:
        """Nothing is open."""


async def test_an_adapter_that_only_fetches(tmp_path: Path) -> None:
    bell, recordings = Bell(), folder(tmp_path)
    adapter = AddingFetch(RecordingFetch(bell, AnswersOnly(recordings)), recordings)
    for _ in range(2):
        assert (await adapter.fetch(Call("bell://tower/one"), SECONDS)).body == b"ding"
    assert bell.rung == 1
    with pytest.raises(NotRecorded):
        await adapter.fetch(Call("bell://tower/two", changes=True), SECONDS)
    assert bell.rung == 1


async def test_a_refusal_is_an_answer_and_no_want_of_a_network(place: Path, tmp_path: Path) -> None:
    adapter = adding(tmp_path / "site", LocalAdapter())
    with pytest.raises(NotThere):
        await adapter.stat(at(place, "gone"), SECONDS)
    (exchange,) = kept(tmp_path / "site")
    assert isinstance(exchange.reply, Failure)
    assert exchange.reply.name == "NotThere"
