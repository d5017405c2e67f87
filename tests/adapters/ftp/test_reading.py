"""Reads that end too soon, or not at all, or begin in the middle (RFC 3659 section 5)."""

import hashlib
from time import perf_counter

import pytest

from adapters.errors import (
    BrokenOff,
    NotPossible,
    NotThere,
    TooSlow,
    WrongDocument,
)
from adapters.files import Digest
from adapters.ftp.adapter import FtpAdapter
from tests.adapters.ftp.doing import (
    NEW,
    OLD,
    SECONDS,
    fails,
    reading,
    still_well,
)
from tests.adapters.ftp.scripted import Fault, Scripted


@pytest.mark.parametrize("kind", ["data-cut", "data-reset", "short"])
async def test_a_read_that_breaks_off(adapter: FtpAdapter, server: Scripted, kind: str) -> None:
    server.documents[b"/pub/old"] = NEW
    server.faults["RETR"] = Fault(kind)
    await fails(reading(adapter, server, SECONDS), BrokenOff)
    await still_well(adapter, server, NEW)


@pytest.mark.parametrize("kind", ["data-stall", "data-drip"])
async def test_a_read_that_does_not_end(adapter: FtpAdapter, server: Scripted, kind: str) -> None:
    server.documents[b"/pub/old"] = NEW
    server.faults["RETR"] = Fault(kind)
    began = perf_counter()
    await fails(reading(adapter, server, 0.25), TooSlow)
    assert 0.2 < perf_counter() - began < 1.5
    await still_well(adapter, server, NEW)


async def test_where_rest_is_refused_the_beginning_is_read_and_dropped(
    adapter: FtpAdapter, server: Scripted
) -> None:
    server.unknown = frozenset({"REST"})
    server.documents[b"/pub/old"] = NEW
    for offset, count in ((1, 10), (200_000, None), (len(NEW) - 1, 5), (len(NEW), 5)):
        async with adapter.read(server.target.within(b"old"), offset, count, SECONDS) as found:
            part = b"".join([chunk async for chunk in found.chunks])
        assert part == NEW[offset : None if count is None else offset + count]
    assert server.words().count("REST") == 1


async def test_a_document_that_grows_is_read_to_the_size_it_had(
    adapter: FtpAdapter, server: Scripted
) -> None:
    async with adapter.read(server.target.within(b"old"), 0, None, SECONDS) as found:
        pass
    server.faults["SIZE"] = Fault("say", "213 4")
    async with adapter.read(server.target.within(b"old"), 0, None, SECONDS) as found:
        assert b"".join([chunk async for chunk in found.chunks]) == OLD[:4]
    await still_well(adapter, server)


async def test_a_digest_is_told_where_the_server_has_one(adapter: FtpAdapter, server: Scripted) -> None:
    server.features += ("HASH SHA-256*",)
    async with adapter.read(server.target.within(b"old"), 0, None, SECONDS) as found:
        assert found.digest == Digest("sha256", hashlib.sha256(OLD).hexdigest())
    async with adapter.read(server.target.within(b"old"), 1, None, SECONDS) as found:
        assert found.digest is None


async def test_a_folder_is_no_document(adapter: FtpAdapter, server: Scripted) -> None:
    server.folders.add(b"/pub/folder")
    for _ in range(2):
        with pytest.raises(WrongDocument):
            async with adapter.read(server.target.within(b"folder"), 0, None, SECONDS):
                pass
        server.features = ("SIZE",)
    await still_well(adapter, server)


async def test_a_document_that_goes_between_rest_and_retr(adapter: FtpAdapter, server: Scripted) -> None:
    """What is refused is not tried again from its beginning: the offset was taken, and the size was known."""
    server.faults["RETR"] = Fault("say", "550 no such file")
    with pytest.raises(NotThere):
        async with adapter.read(server.target.within(b"old"), 3, None, SECONDS):
            pass
    assert (server.words().count("REST"), server.words().count("RETR")) == (1, 1)
    await still_well(adapter, server)
    assert server.connections == 1


async def test_a_mark_that_stays_costs_the_login(adapter: FtpAdapter, server: Scripted) -> None:
    """A server may keep what REST said for the next transfer (RFC 3659 section 5.3), and give too little."""
    server.faults["RETR"] = Fault("say", "550 no such file")
    with pytest.raises(NotThere):
        async with adapter.read(server.target.within(b"old"), 3, None, SECONDS):
            pass
    server.faults["REST"] = Fault("say", "502 no")
    await fails(reading(adapter, server, SECONDS), NotPossible)
    await still_well(adapter, server)
    assert server.connections == 2


async def test_past_an_end_that_nobody_knew(adapter: FtpAdapter, server: Scripted) -> None:
    server.features, server.unknown = (), frozenset({"SIZE", "REST"})
    server.list_lines = b"+r,\told\r\n"  # EPLF, without a size
    for offset, rest in ((3, OLD[3:]), (100, b"")):
        async with adapter.read(server.target.within(b"old"), offset, None, SECONDS) as found:
            assert found.size is None
            assert b"".join([chunk async for chunk in found.chunks]) == rest


@pytest.mark.parametrize("offset", [len(OLD), len(OLD) + 5])
async def test_nothing_is_asked_for_at_the_end(adapter: FtpAdapter, server: Scripted, offset: int) -> None:
    async with adapter.read(server.target.within(b"old"), offset, None, SECONDS) as found:
        assert [chunk async for chunk in found.chunks] == []
    assert "RETR" not in server.words()
    await still_well(adapter, server)
