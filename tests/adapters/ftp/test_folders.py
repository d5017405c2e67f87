"""Folders: the case under tests/cases/ftp-empty-dir-550-and-pasv-address, and servers that can do little."""

import asyncio
from dataclasses import replace

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    FarBusy,
    HeadraceError,
    NotAllowed,
    NotPossible,
    NotThere,
)
from adapters.files import Kind
from adapters.ftp.adapter import FtpAdapter
from tests.adapters.ftp.doing import (
    NEW,
    OLD,
    SECONDS,
    fails,
    listing,
    reading,
    still_well,
    writing,
)
from tests.adapters.ftp.scripted import Fault, Scripted


@pytest.mark.parametrize("kind", ["data-cut", "data-reset"])
async def test_a_listing_that_breaks_off(adapter: FtpAdapter, server: Scripted, kind: str) -> None:
    server.faults["MLSD"] = Fault(kind)
    await fails(listing(adapter, server, SECONDS), BrokenOff)
    await still_well(adapter, server)


@pytest.mark.parametrize("reply", ["550 No files found.", "450 No files found"])
@pytest.mark.parametrize("facts", [True, False])
async def test_an_empty_folder_that_is_refused(
    adapter: FtpAdapter, server: Scripted, reply: str, facts: bool
) -> None:
    """Dialogues A, B and C of the case ftp-empty-dir-550-and-pasv-address; D: CWD tells a missing one."""
    if not facts:
        server.features = ("SIZE",)
    server.faults["MLSD" if facts else "LIST"] = Fault("say", reply, times=2)
    assert (await adapter.list(server.target, SECONDS)).entries == ()
    server.faults.clear()
    await fails(adapter.list(server.target.within(b"gone"), SECONDS), NotThere)


async def test_mlsd_promised_and_missing(adapter: FtpAdapter, server: Scripted) -> None:
    """Dialogue E of the same case."""
    server.unknown = frozenset({"MLSD", "MLST"})
    server.list_lines = b"total 0\r\n"
    listed = await adapter.list(server.target, SECONDS)
    assert (listed.entries, listed.partial) == ((), False)
    server.list_lines = b""
    assert [each.name for each in (await adapter.list(server.target, SECONDS)).entries] == [b"old"]
    assert server.words().count("MLSD") == 1
    assert await reading(adapter, server, SECONDS) == OLD


@pytest.mark.parametrize("unknown", [{"SIZE"}, {"SIZE", "MDTM", "FEAT", "EPSV", "REST", "SYST", "PWD"}])
async def test_a_server_that_can_do_little(adapter: FtpAdapter, server: Scripted, unknown: set[str]) -> None:
    server.features, server.unknown = (), frozenset({*unknown, "MLSD", "MLST"})
    stat = await adapter.stat(server.target.within(b"old"), SECONDS)
    assert (stat.kind, stat.size) == (Kind.FILE, len(OLD))
    await fails(adapter.stat(server.target.within(b"new"), SECONDS), NotThere)
    async with adapter.read(server.target.within(b"old"), 3, 2, SECONDS) as found:
        assert b"".join([chunk async for chunk in found.chunks]) == OLD[3:5]
    await writing(adapter, server, SECONDS)
    await still_well(adapter, server, NEW)


async def test_a_line_that_cannot_be_read_shows(adapter: FtpAdapter, server: Scripted) -> None:
    server.features = ()
    server.list_lines = b"what is this\r\n-rw-r--r-- 1 o g 9 Nov 14 2001 old\r\n"
    listed = await adapter.list(server.target, SECONDS)
    assert (len(listed.entries), listed.partial) == (1, True)


async def test_others_have_their_turns_while_a_listing_is_read(adapter: FtpAdapter, server: Scripted) -> None:
    """A far server that is quick, and has many lines, does not hold the loop: a turn for each few of them."""
    server.features = ("SIZE",)
    server.list_lines = b"-rw-r--r-- 1 o g 7 Nov 14 2001 name\r\n" * 30_000
    turns = 0

    async def count() -> None:
        nonlocal turns
        while True:
            await asyncio.sleep(0)
            turns += 1

    counting = asyncio.create_task(count())
    try:
        listing = await adapter.list(server.target, SECONDS)
    finally:
        counting.cancel()
    assert len(listing.entries) == 1
    assert turns > len(server.list_lines) // limits.LIST_PIECE_BYTES


async def test_a_server_without_any_listing(adapter: FtpAdapter, server: Scripted) -> None:
    server.unknown = frozenset({"MLSD", "MLST", "LIST"})
    await fails(listing(adapter, server, SECONDS), NotPossible)
    assert await reading(adapter, server, SECONDS) == OLD


async def test_the_root_of_a_server_is_a_folder(adapter: FtpAdapter, server: Scripted) -> None:
    url = server.target.url.removesuffix("pub/")
    root = replace(server.target, url=url, root=url)
    assert (await adapter.stat(root, SECONDS)).kind is Kind.FOLDER
    await fails(adapter.make_folder(root, SECONDS), ChangedMeanwhile)
    assert "MKD" not in server.words()


@pytest.mark.parametrize(
    "reply", ["250 it is", "250-it is\r\n no facts\r\n type\r\n250 end", "500 what", "502 no"]
)
async def test_an_mlst_that_tells_nothing(adapter: FtpAdapter, server: Scripted, reply: str) -> None:
    """RFC 3659 section 7.2 has the facts in one line between; SIZE (section 4) tells where it is missing."""
    server.faults["MLST"] = Fault("say", reply)
    stat = await adapter.stat(server.target.within(b"old"), SECONDS)
    assert (stat.kind, stat.size) == (Kind.FILE, len(OLD))


async def test_facts_behind_a_line_without(adapter: FtpAdapter, server: Scripted) -> None:
    server.faults["MLST"] = Fault("say", "250-it is\r\n nothing here\r\n type=dir; old\r\n250 end")
    assert (await adapter.stat(server.target.within(b"old"), SECONDS)).kind is Kind.FOLDER


async def test_without_size_the_fact_is_believed(adapter: FtpAdapter, server: Scripted) -> None:
    server.features = ("MLST type*;size*;modify*;",)
    assert (await adapter.stat(server.target.within(b"old"), SECONDS)).size == len(OLD)
    assert "SIZE" not in server.words()


async def test_without_mdtm_nobody_asks_for_it(adapter: FtpAdapter, server: Scripted) -> None:
    server.features = ("SIZE",)
    stat = await adapter.stat(server.target.within(b"old"), SECONDS)
    assert (stat.size, stat.modified) == (len(OLD), None)
    assert "MDTM" not in server.words()


@pytest.mark.parametrize(
    ("reply", "error"),
    [
        ("550 no such file", NotThere),
        ("450 not now", NotThere),
        ("550 Permission denied", NotAllowed),
        ("451 trouble", FarBusy),
    ],
)
async def test_only_some_refusals_mean_that_nothing_is_there(
    adapter: FtpAdapter, server: Scripted, reply: str, error: type[HeadraceError]
) -> None:
    server.faults["MLST"] = Fault("say", reply)
    await fails(adapter.stat(server.target.within(b"old"), SECONDS), error)
    await still_well(adapter, server)


async def test_a_folder_with_too_many_names(
    adapter: FtpAdapter, server: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is read to the limit and no further, and the login is used again."""
    monkeypatch.setattr(limits, "LIST_ENTRIES", 3)
    monkeypatch.setattr(limits, "LIST_PIECE_BYTES", 64)
    server.features = ("SIZE",)
    server.list_lines = b"".join(b"-rw-r--r-- 1 o g 7 Nov 14 2001 n%05d\r\n" % each for each in range(50_000))
    listed = await adapter.list(server.target, SECONDS)
    assert [each.name for each in listed.entries] == [b"n00000", b"n00001", b"n00002"]
    assert listed.partial
    assert await reading(adapter, server, SECONDS) == OLD
    assert server.connections == 1


async def test_a_folder_that_a_login_cannot_come_back_from(adapter: FtpAdapter, server: Scripted) -> None:
    """Without PWD nobody knows where a path begins once CWD went there."""
    server.features, server.faults["PWD"] = ("SIZE",), Fault("say", "550 no")
    server.folders.add(b"/pub/folder")
    await fails(adapter.stat(server.target.within(b"folder"), SECONDS), NotPossible)
    await still_well(adapter, server)


@pytest.mark.parametrize("reply", ["501 no such name", "553 no such name"])
async def test_what_some_say_of_a_folder_that_is_missing(
    adapter: FtpAdapter, server: Scripted, reply: str
) -> None:
    server.faults["CWD"] = Fault("say", reply, times=2)
    await fails(listing(adapter, server, SECONDS), NotThere)
    await still_well(adapter, server)


async def test_an_empty_folder_told_of_at_once(adapter: FtpAdapter, server: Scripted) -> None:
    """226 without 150 before it, which RFC 959 section 5.4 has not, and a few servers say."""
    server.faults["MLSD"] = Fault("data-none")
    assert (await adapter.list(server.target, SECONDS)).entries == ()
    await still_well(adapter, server)
    assert server.connections == 1
