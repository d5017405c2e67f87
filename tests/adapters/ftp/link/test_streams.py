"""FTPS: RFC 4217 (AUTH TLS, PROT P), RFC 6125 (host names), RFC 8446 section 6.1 (how a stream ends)."""

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from ipaddress import ip_address
from pathlib import Path

import pytest
import trustme

from adapters.errors import BrokenOff, CannotConnect, HeadraceError, Untrusted
from adapters.files import Target, Was
from adapters.ftp.adapter import FtpAdapter
from adapters.ftp.link.streams import open_streams, secured
from adapters.ftp.locations import IMPLICIT_PORT, Server
from tests.adapters.contract import tells_nothing_private
from tests.adapters.file_contract import upload
from tests.adapters.ftp.doing import until
from tests.adapters.ftp.scripted import LOOPBACK, SECRET, Fault, Scripted, scripted

SECONDS = 10.0


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(scope="module")
def ca(authority: trustme.CA, tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("ca") / "ca.pem"
    authority.cert_pem.write_to_path(str(path))
    return str(path)


@asynccontextmanager
async def tls_server(authority: trustme.CA, *names: str, **options: object) -> AsyncIterator[Scripted]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(*names).configure_cert(context)
    async with scripted(tls=context, **options) as server:
        server.documents[b"/pub/old"] = b"as it was"
        yield server


@pytest.fixture
async def adapter() -> AsyncIterator[FtpAdapter]:
    made = FtpAdapter()
    yield made
    await made.aclose()


async def fails(adapter: FtpAdapter, target: Target, kind: type[HeadraceError]) -> None:
    with pytest.raises(HeadraceError) as caught:
        await adapter.stat(target, SECONDS)
    assert type(caught.value) is kind, repr(caught.value)
    tells_nothing_private(caught.value)


async def test_a_good_certificate(authority: trustme.CA, ca: str, adapter: FtpAdapter) -> None:
    async with tls_server(authority, LOOPBACK) as server:
        found = await adapter.stat(replace(server.target.within(b"old"), ca=ca), SECONDS)
        assert found.size == 9
        # Everything after AUTH goes through TLS; protection is asked for before anything else is.
        assert server.words()[:5] == ["AUTH", "USER", "PASS", "PBSZ", "PROT"]


async def test_an_unknown_authority(authority: trustme.CA, adapter: FtpAdapter) -> None:
    async with tls_server(authority, LOOPBACK) as server:
        await fails(adapter, server.target.within(b"old"), Untrusted)
        assert server.words() == ["AUTH"]  # no password went out


async def test_another_host(authority: trustme.CA, ca: str, adapter: FtpAdapter) -> None:
    async with tls_server(authority, "other.example") as server:
        await fails(adapter, replace(server.target.within(b"old"), ca=ca), Untrusted)
        assert server.words() == ["AUTH"]


async def test_an_expired_certificate(
    authority: trustme.CA, ca: str, adapter: FtpAdapter, monkeypatch: pytest.MonkeyPatch
) -> None:
    from datetime import UTC, datetime

    issued = authority.issue_cert(
        LOOPBACK, not_before=datetime(2020, 1, 1, tzinfo=UTC), not_after=datetime(2021, 1, 1, tzinfo=UTC)
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    issued.configure_cert(context)
    async with scripted(tls=context) as server:
        await fails(adapter, replace(server.target.within(b"old"), ca=ca), Untrusted)


@pytest.mark.parametrize("reply", ["502 no TLS", "500 what", "530 no", "534 no", "431 not now", "504 no"])
async def test_never_without_tls(authority: trustme.CA, ca: str, adapter: FtpAdapter, reply: str) -> None:
    async with tls_server(authority, LOOPBACK) as server:
        server.faults["AUTH"] = Fault("say", reply, times=99)
        await fails(adapter, replace(server.target.within(b"old"), ca=ca), CannotConnect)
        assert server.words() == ["AUTH"]


async def test_never_without_protected_data(authority: trustme.CA, ca: str, adapter: FtpAdapter) -> None:
    async with tls_server(authority, LOOPBACK) as server:
        server.faults["PROT"] = Fault("say", "536 no", times=99)
        await fails(adapter, replace(server.target.within(b"old"), ca=ca), CannotConnect)
        assert "CWD" not in server.words()


@pytest.mark.parametrize("kind", ["cut", "reset"])
async def test_a_handshake_that_ends(authority: trustme.CA, ca: str, adapter: FtpAdapter, kind: str) -> None:
    async def ends(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 ready\r\n")
        await reader.readline()
        writer.write(b"234 go\r\n")
        await reader.read(10)
        if kind == "reset":
            writer.transport.abort()
        writer.close()

    listener = await asyncio.start_server(ends, LOOPBACK, 0)
    async with tls_server(authority, LOOPBACK) as server:
        server.port = listener.sockets[0].getsockname()[1]
        await fails(adapter, replace(server.target.within(b"old"), ca=ca), CannotConnect)
    listener.close()


async def test_replies_slipped_in_before_tls_are_never_read(
    authority: trustme.CA, ca: str, adapter: FtpAdapter
) -> None:
    """What comes with the 234 was not inside TLS (what is known as STARTTLS injection)."""
    async with tls_server(authority, LOOPBACK) as server:
        slipped = '234 go\r\n331 password\r\n230 in\r\n200 ok\r\n200 ok\r\n211 none\r\n257 "/evil"\r\n200 ok'
        server.faults["AUTH"] = Fault("say-tls", slipped)
        found = await adapter.stat(replace(server.target.within(b"old"), ca=ca), SECONDS)
        assert found.size == 9
        assert b"CWD /pub" in server.told


def test_the_implicit_port() -> None:
    """990 is IANA's for FTP over TLS: the handshake comes before the greeting, and AUTH is not sent."""
    assert Server("ftps", "files.example", IMPLICIT_PORT).implicit
    assert not Server("ftps", "files.example", 21).implicit
    assert not Server("ftp", "files.example", IMPLICIT_PORT).implicit


async def test_implicit_tls(
    authority: trustme.CA, ca: str, adapter: FtpAdapter, monkeypatch: pytest.MonkeyPatch
) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(LOOPBACK).configure_cert(context)
    async with scripted(tls=context, implicit=True) as server:
        server.documents[b"/pub/old"] = b"as it was"
        monkeypatch.setattr("adapters.ftp.locations.IMPLICIT_PORT", server.port)
        found = await adapter.stat(replace(server.target.within(b"old"), ca=ca), SECONDS)
        assert found.size == 9
        assert "AUTH" not in server.words()


async def test_data_goes_through_tls_and_resumes_the_session(
    authority: trustme.CA, ca: str, adapter: FtpAdapter
) -> None:
    async with tls_server(authority, LOOPBACK) as server:
        target = replace(server.target.within(b"old"), ca=ca)
        await adapter.write(target, upload(b"new", size=3), Was.ANYTHING, SECONDS)
        async with adapter.read(target, 0, None, SECONDS) as found:
            assert b"".join([chunk async for chunk in found.chunks]) == b"new"
        assert server.resumed == [True, True]


async def test_data_that_ends_without_a_farewell(authority: trustme.CA, ca: str, adapter: FtpAdapter) -> None:
    """Without a size to compare with, only the farewell tells an end from a cut line."""
    async with tls_server(authority, LOOPBACK, features=(), unknown=frozenset({"SIZE", "MLST"})) as server:
        server.documents[b"/pub/old"] = b"as it was" * 1000
        server.list_lines = b"+r,\told\r\n"
        server.faults["RETR"] = Fault("short-raw", times=99)
        target = replace(server.target.within(b"old"), ca=ca)
        with pytest.raises(BrokenOff):
            async with adapter.read(target, 0, None, SECONDS) as found:
                async for _ in found.chunks:
                    pass
        server.faults.clear()
        async with adapter.read(target, 0, None, SECONDS) as found:
            assert len(b"".join([chunk async for chunk in found.chunks])) == 9000


async def test_a_listing_without_a_farewell_is_partial(
    authority: trustme.CA, ca: str, adapter: FtpAdapter
) -> None:
    async with tls_server(authority, LOOPBACK) as server:
        server.faults["MLSD"] = Fault("short-raw")
        assert (await adapter.list(replace(server.target, ca=ca), SECONDS)).partial
        assert not (await adapter.list(replace(server.target, ca=ca), SECONDS)).partial


def test_the_secret_is_in_no_repr() -> None:
    assert SECRET not in repr(Scripted().target)


async def test_a_line_that_is_lost_right_behind_the_handshake(monkeypatch: pytest.MonkeyPatch) -> None:
    """asyncio has no transport to give then, and gives none."""
    loop = asyncio.get_running_loop()
    far: list[asyncio.StreamWriter] = []
    listener = await asyncio.start_server(lambda _, writer: far.append(writer), LOOPBACK, 0)
    plain = await open_streams(ip_address(LOOPBACK), listener.sockets[0].getsockname()[1])

    async def lost(*_: object, **__: object) -> None:
        plain.abort()

    monkeypatch.setattr(loop, "start_tls", lost)
    with pytest.raises(CannotConnect):
        await secured(plain, ssl.create_default_context(), "far.example")
    listener.close()
    await until(lambda: bool(far))
    far[0].close()
    await asyncio.sleep(0)  # for the transport to close
