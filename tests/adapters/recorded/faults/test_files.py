"""Faults on cue over FTP and on a folder, beside those of a server that fails in that way."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import pytest

from adapters.errors import BrokenOff, FarBusy, HeadraceError, MayBeDone, TooSlow, Untrusted, WrongDocument
from adapters.files import FileAdapter, Target, Was
from adapters.ftp.adapter import FtpAdapter
from adapters.local.adapter import LocalAdapter
from adapters.port import Call, Fetched
from adapters.recorded.faults.files import FaultyFetch, FaultyFiles
from tests.adapters.file_contract import upload
from tests.adapters.ftp.scripted import Fault, Scripted, scripted
from tests.adapters.http.servers import free_port
from tests.adapters.recorded.faults.test_link import planned

SECONDS = 0.9
OLD = b"as it was, and long enough to be cut"

Doing = Callable[[FileAdapter, Target], Awaitable[object]]


async def listing(adapter: FileAdapter, folder: Target) -> object:
    return [(entry.name, entry.size) for entry in (await adapter.list(folder, SECONDS)).entries]


async def reading(adapter: FileAdapter, folder: Target) -> object:
    async with adapter.read(folder.within(b"old"), 0, None, SECONDS) as found:
        return b"".join([chunk async for chunk in found.chunks])


async def writing(adapter: FileAdapter, folder: Target) -> object:
    return (await adapter.write(folder.within(b"new"), upload(b"new"), Was.ANYTHING, SECONDS)).size


async def appending(adapter: FileAdapter, folder: Target) -> object:
    return (await adapter.append(folder.within(b"log"), upload(b"new"), Was.ANYTHING, SECONDS)).size


async def erasing(adapter: FileAdapter, folder: Target) -> None:
    await adapter.erase(folder.within(b"old"), SECONDS)


async def renaming(adapter: FileAdapter, folder: Target) -> None:
    await adapter.rename(folder.within(b"old"), folder.within(b"to"), SECONDS)


async def making(adapter: FileAdapter, folder: Target) -> None:
    await adapter.make_folder(folder.within(b"to"), SECONDS)


async def copying(adapter: FileAdapter, folder: Target) -> object:
    return (await adapter.copy(folder.within(b"old"), folder.within(b"to"), SECONDS)).size


async def looking(adapter: FileAdapter, folder: Target) -> object:
    return (await adapter.stat(folder.within(b"old"), SECONDS)).size


ASKING = (listing, reading, looking)
CHANGING = (writing, appending, erasing, renaming, making, copying)


async def outcome(doing: Awaitable[object]) -> object:
    try:
        return await doing
    except HeadraceError as fault:
        return type(fault), fault.sentence


@pytest.fixture
def folder(tmp_path: Path) -> Target:
    place = tmp_path / "place"
    place.mkdir()
    (place / "old").write_bytes(OLD)
    return Target(f"{place.as_uri()}/", f"{place.as_uri()}/")


SAID: list[tuple[str, Fault, str, Doing]] = [
    ("status = 450", Fault("say", "450 busy", times=9), "RETR", reading),
    ("status = 550", Fault("say", "550 no such file", times=9), "RETR", reading),
    ("status = 421", Fault("say", "421 closing", times=9), "GREETING", listing),
    ("status = 530", Fault("say", "530 no", times=9), "PASS", listing),
    ("status = 553", Fault("say", "553 no", times=9), "STOR", writing),
    ("status = 552", Fault("say", "552 no", times=9), "STOR", writing),
    ('do = "reset"', Fault("reset", times=9), "MLSD", listing),
    ('do = "cut"\nbytes = 5', Fault("data-cut", times=9), "RETR", reading),
    ('do = "malformed"', Fault("say", "HTTP/1.1 400 Bad Request", times=9), "GREETING", listing),
    ('do = "slow"\nseconds = 9', Fault("stall", times=9), "MLSD", listing),
]


@pytest.mark.parametrize(("table", "fault", "at", "doing"), SAID, ids=[each[0] for each in SAID])
async def test_as_an_ftp_server_that_fails_so(table: str, fault: Fault, at: str, doing: Doing) -> None:
    async with scripted(documents={b"/pub/old": OLD}) as server:
        adapter = FtpAdapter()
        good = await outcome(doing(adapter, server.target))
        server.faults[at] = fault
        fresh = FtpAdapter()
        failed = await outcome(doing(fresh, server.target))
        await fresh.aclose()
        server.faults.clear()
        cued = FaultyFiles(adapter, planned(f"{table}\ntimes = 1"))
        assert await outcome(doing(cued, server.target)) == failed != good
        assert await outcome(doing(cued, server.target)) == good
        await cued.aclose()


async def test_nobody_listens() -> None:
    server = Scripted(port=await free_port())
    adapter = FtpAdapter()
    refused = await outcome(listing(adapter, server.target))
    cued = FaultyFiles(adapter, planned('do = "refused"'))
    assert await outcome(listing(cued, server.target)) == refused
    await cued.aclose()


@pytest.mark.parametrize("doing", [*ASKING, *CHANGING])
@pytest.mark.parametrize(
    ("table", "asking"),
    [
        ('do = "reset"', BrokenOff),
        ('do = "malformed"', WrongDocument),
        ('do = "slow"\nseconds = 9', TooSlow),
        ('do = "cut"', BrokenOff),
    ],
)
async def test_what_was_not_answered_may_be_done(
    doing: Doing, table: str, asking: type[HeadraceError], folder: Target
) -> None:
    cued = FaultyFiles(LocalAdapter(), planned(table))
    told = await outcome(doing(cued, folder))
    assert isinstance(told, tuple)
    assert told[0] is (asking if doing in ASKING else MayBeDone)
    async with LocalAdapter().read(folder.within(b"old"), 0, None, 20) as found:
        assert b"".join([chunk async for chunk in found.chunks]) == OLD  # nothing was done


async def test_garbled_and_cut(folder: Target) -> None:
    plan = planned('do = "garbled"\nbytes = 5\ntimes = 1')
    cued = FaultyFiles(LocalAdapter(), plan)
    assert await reading(cued, folder) == OLD[:5] + b"?" * (len(OLD) - 5)
    seen = b""
    with pytest.raises(BrokenOff):
        async with FaultyFiles(LocalAdapter(), planned('do = "cut"\nbytes = 5')).read(
            folder.within(b"old"), 0, None, SECONDS
        ) as found:
            async for chunk in found.chunks:
                seen += chunk
    assert seen == OLD[:5]


async def test_only_where_there_is_a_certificate(folder: Target) -> None:
    cued = FaultyFiles(LocalAdapter(), planned('do = "certificate-expired"'))
    assert await reading(cued, folder) == OLD
    told = await outcome(listing(cued, Target("davs://a.example/", "davs://a.example/")))
    assert told == (Untrusted, Untrusted().sentence)


async def test_before_its_turn_and_where_it_is_only_slow_all_is_as_without(folder: Target) -> None:
    inner = LocalAdapter()
    adapter = FaultyFiles(inner, planned('do = "slow"\nseconds = 0.05\ntimes = 1'))
    call = Call(folder.within(b"old").url, root=folder.root)
    wanted = replace(await inner.fetch(call, SECONDS), steps=())
    began = perf_counter()
    assert replace(await adapter.fetch(call, SECONDS), steps=()) == wanted
    slow = perf_counter() - began
    assert slow >= 0.05
    assert replace(await adapter.fetch(call, SECONDS), steps=()) == wanted
    assert adapter.abilities(folder) == inner.abilities(folder)
    await adapter.aclose()


class Bell:
    """An adapter that fetches and does nothing else."""

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        return Fetched(b"ding dong")

    async def aclose(self) -> None:
        """Nothing is open."""


@pytest.mark.parametrize("make", [lambda plan: FaultyFetch(Bell(), plan)])
async def test_an_adapter_that_only_fetches(make: Callable[..., FaultyFetch]) -> None:
    call = Call("bell://tower/one")
    assert (await make(planned('do = "garbled"\nbytes = 4')).fetch(call, SECONDS)).body == b"ding?????"
    for table, kind in (
        ('do = "cut"', BrokenOff),
        ('do = "reset"', BrokenOff),
        ("status = 500", FarBusy),
    ):
        adapter = make(planned(table))
        with pytest.raises(kind):
            await adapter.fetch(call, SECONDS)
        await adapter.aclose()
