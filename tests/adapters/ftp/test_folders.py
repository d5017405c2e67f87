"""Folders: the case under tests/cases/ftp-empty-dir-550-and-pasv-address, and servers that can do little."""

import asyncio

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
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
