"""What is kept of operations on documents and folders, and what is not."""

import asyncio
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import BrokenOff, HeadraceError, NameNotAllowed, NotAllowed, NotPossible
from adapters.files import Ability, Condition, FileAdapter, Listing, Target, Upload, Was, Written
from adapters.local.adapter import LocalAdapter
from adapters.port import Call, Fetched
from adapters.recorded.asking import LATE, REQUEST
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Content, Exchange, Failure
from adapters.recorded.files.recording import RecordingFiles
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.redaction import Redactor
from tests.adapters.recorded.test_copies import full

SECONDS = 10.0


def folder(path: Path) -> Folder:
    made = Folder(path, Hiding(Redactor()), lambda: datetime.now(UTC))
    made.load()
    return made


def kept(path: Path) -> list[Exchange]:
    return list(folder(path).exchanges())


def at(place: Path, path: str = "") -> Target:
    root = f"{place.as_uri()}/"
    return Target(root + path, root)


def upload(data: bytes) -> Upload:
    async def chunks() -> AsyncIterator[bytes]:
        yield data

    return Upload(chunks, len(data))


async def test_what_was_asked_and_for_whom(tmp_path: Path) -> None:
    place = tmp_path / "place"
    place.mkdir()
    token = REQUEST.set("ASK TIDES")
    adapter = RecordingFiles(LocalAdapter(), folder(tmp_path / "site"))
    await adapter.write(at(place, "a"), upload(b"bytes"), Was.ANYTHING, SECONDS)
    await adapter.rename(at(place, "a"), at(place, "b"), SECONDS)
    with pytest.raises(HeadraceError):
        await adapter.stat(at(place, "a"), SECONDS)
    await adapter.aclose()
    REQUEST.reset(token)
    write, rename, stat = kept(tmp_path / "site")
    assert (write.asked.method, write.asked.body) == ("WRITE", Content(b"bytes"))
    assert (rename.asked.url, rename.asked.to) == (at(place, "a").url, at(place, "b").url)
    assert write.asked.request == rename.asked.request == "ASK TIDES"
    assert isinstance(stat.reply, Failure)
    assert (stat.reply.name, stat.reply.sentence) == ("NotThere", "Not there")


@pytest.mark.parametrize(
    ("fault", "is_kept"),
    [
        (NotAllowed("That address is not allowed"), False),
        (NotPossible("LIST is not possible with odd"), False),
        (NotPossible("The far server has no such command"), True),
        (BrokenOff(), True),
    ],
)
async def test_rules_of_the_gateways_own_are_no_answers(
    fault: HeadraceError, is_kept: bool, tmp_path: Path
) -> None:
    class Failing(FileAdapter):
        can = Ability.LIST

        async def list(self, target: Target, seconds: float) -> Listing:
            fault.far = "odd://x.example" if is_kept else ""
            raise fault

    adapter = RecordingFiles(Failing(), folder(tmp_path))
    with pytest.raises(type(fault)):
        await adapter.list(Target("odd://x.example/", "odd://x.example/"), SECONDS)
    assert bool(kept(tmp_path)) == is_kept


async def test_an_upload_goes_on_where_the_disk_for_its_copy_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(f"{Copied.__module__}.NamedTemporaryFile", full)
    place, site = tmp_path / "place", tmp_path / "site"
    place.mkdir()
    files = RecordingFiles(LocalAdapter(), folder(site))
    data = bytes(limits.STAGE_BYTES + 1)
    await files.write(at(place, "big"), upload(data), Was.ANYTHING, SECONDS)
    assert (place / "big").read_bytes() == data
    assert kept(site) == []


@pytest.mark.parametrize("taken", [0, 1, 2])
@pytest.mark.parametrize("repeatable", [True, False])
async def test_what_was_refused_was_asked_for_whole(taken: int, repeatable: bool, tmp_path: Path) -> None:
    """However much the far server had of it; what cannot be had again is kept as far as it was sent."""
    pieces = [b"one ", b"two ", b"three"]

    class Refusing(FileAdapter):
        can = Ability.WRITE

        async def write(
            self, target: Target, upload: Upload, condition: Condition, seconds: float
        ) -> Written:
            chunks = upload.chunks()
            for _ in range(taken):
                await anext(chunks)
            raise NameNotAllowed

    async def chunks() -> AsyncIterator[bytes]:
        for each in pieces:
            yield each

    adapter = RecordingFiles(Refusing(), folder(tmp_path))
    with pytest.raises(NameNotAllowed):
        target = Target("odd://x.example/a", "odd://x.example/")
        await adapter.write(target, Upload(chunks, 13, repeatable), Was.ANYTHING, SECONDS)
    (exchange,) = kept(tmp_path)
    expected = b"".join(pieces if repeatable else pieces[:taken])
    assert (exchange.asked.body or Content()) == Content(expected)


@pytest.mark.parametrize(("why", "number"), [(LATE, 1), (None, 0)])
async def test_that_no_answer_came_in_time_is_kept(tmp_path: Path, why: str | None, number: int) -> None:
    class Stuck(FileAdapter):
        async def fetch(self, call: Call, seconds: float) -> Fetched:
            await asyncio.sleep(seconds)
            raise AssertionError

    adapter = RecordingFiles(Stuck(), folder(tmp_path))
    task = asyncio.create_task(adapter.fetch(Call("ftp://quay.example/a"), SECONDS))
    await asyncio.sleep(0)
    task.cancel(why)
    with pytest.raises(asyncio.CancelledError):
        await task
    failures = [each.reply for each in kept(tmp_path)]
    assert len(failures) == number
    assert all(isinstance(each, Failure) and each.name == "TooSlow" for each in failures)
