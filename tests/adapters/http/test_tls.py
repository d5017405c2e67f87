"""HTTPS: certificates are verified against the URL's name, whatever is dialled (RFC 9110 section 4.3.4)."""

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest
import trustme

from adapters import limits
from adapters.errors import CannotConnect, HeadraceError, NotAllowed, TooSlow, Untrusted
from adapters.http.adapter import HttpAdapter
from adapters.http.link.streams import open_stream
from adapters.port import Call, Reach
from adapters.trust import trust_context
from tests.adapters.http.servers import LOOPBACK, RawServer, Say, raw_server, reply

HOST = "tides.example"


async def here(host: str, port: int) -> list[str]:
    """Every name is this machine."""
    return [LOOPBACK]


@pytest.fixture
async def adapter() -> AsyncIterator[HttpAdapter]:
    made = HttpAdapter(resolve=here)
    yield made
    await made.aclose()


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def ca(authority: trustme.CA, tmp_path: Path) -> str:
    path = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(path))
    return str(path)


def context(certificate: trustme.LeafCert) -> ssl.SSLContext:
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    certificate.configure_cert(made)
    return made


@asynccontextmanager
async def secure(certificate: trustme.LeafCert, *answers: Say) -> AsyncIterator[RawServer]:
    async with raw_server(*(answers or (reply(b"{}"),)), tls=context(certificate)) as server:
        yield server


def call(server: RawServer, host: str = HOST, **changes: Any) -> Call:
    reach = Reach(named=frozenset({(host.strip("[]"), server.port)}))
    return Call(**{"url": f"https://{host}:{server.port}/", "reach": reach, **changes})


async def test_a_good_certificate(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    async with secure(authority.issue_cert(HOST)) as server:
        for _ in range(3):
            fetched = await adapter.fetch(call(server, ca=ca), 5)
            assert fetched.body == b"{}"
            assert fetched.origin == f"https://{HOST}:{server.port}"
        assert server.connections == 1, "kept"
        assert server.field_of("Host") == f"{HOST}:{server.port}", "the name, not the address dialled"


async def test_the_name_is_told_before_the_certificate(
    adapter: HttpAdapter, authority: trustme.CA, ca: str
) -> None:
    """RFC 6066 section 3: SNI holds the URL's name, without a trailing dot."""
    names: list[str | None] = []
    tls = context(authority.issue_cert(HOST))
    tls.sni_callback = lambda _, name, __: names.append(name)
    async with raw_server(reply(b"{}"), tls=tls) as server:
        await adapter.fetch(call(server, ca=ca), 5)
        await adapter.fetch(call(server, f"{HOST}.", ca=ca), 5)
    assert names == [HOST, HOST]


async def test_an_address_as_a_name(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    async with secure(authority.issue_cert(LOOPBACK)) as server:
        assert (await adapter.fetch(call(server, LOOPBACK, ca=ca), 5)).body == b"{}"


async def untrusted(adapter: HttpAdapter, made: Call) -> None:
    with pytest.raises(HeadraceError) as caught:
        await adapter.fetch(made, 5)
    assert type(caught.value) is Untrusted


async def test_an_expired_certificate(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    now = datetime.now(UTC)
    expired = authority.issue_cert(
        HOST, not_before=now - timedelta(days=9), not_after=now - timedelta(days=1)
    )
    for changes in (False, True):
        async with secure(expired) as server:
            await untrusted(adapter, call(server, ca=ca, changes=changes))
            assert server.requests == []


async def test_a_certificate_that_is_not_yet_valid(
    adapter: HttpAdapter, authority: trustme.CA, ca: str
) -> None:
    now = datetime.now(UTC)
    future = authority.issue_cert(HOST, not_before=now + timedelta(days=1), not_after=now + timedelta(days=9))
    async with secure(future) as server:
        await untrusted(adapter, call(server, ca=ca))


@pytest.mark.parametrize(
    "name", ["other.example", "www.tides.example", "example", "*.tides.example", LOOPBACK]
)
async def test_a_certificate_for_another_host(
    adapter: HttpAdapter, authority: trustme.CA, ca: str, name: str
) -> None:
    async with secure(authority.issue_cert(name)) as server:
        await untrusted(adapter, call(server, ca=ca))
        assert server.requests == []


async def test_an_unknown_authority(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    async with secure(authority.issue_cert(HOST)) as server:
        await untrusted(adapter, call(server))  # the usual anchors do not know it
    async with secure(trustme.CA().issue_cert(HOST)) as server:
        await untrusted(adapter, call(server, ca=ca))  # and the own file knows no other


async def test_a_certificate_that_vouches_for_itself(adapter: HttpAdapter, tmp_path: Path) -> None:
    alone = trustme.CA()
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    path = tmp_path / "alone.pem"
    path.write_bytes(alone.private_key_pem.bytes() + alone.cert_pem.bytes())
    tls.load_cert_chain(path)
    async with raw_server(reply(b"{}"), tls=tls) as server:
        await untrusted(adapter, call(server))


async def test_a_connection_made_with_one_ca_serves_no_other(
    adapter: HttpAdapter, authority: trustme.CA, ca: str, tmp_path: Path
) -> None:
    other = tmp_path / "other.pem"
    trustme.CA().cert_pem.write_to_path(str(other))
    async with secure(authority.issue_cert(HOST)) as server:
        await adapter.fetch(call(server, ca=ca), 5)
        await untrusted(adapter, call(server, ca=str(other)))
        await untrusted(adapter, call(server))


async def test_a_missing_ca_file(adapter: HttpAdapter, authority: trustme.CA) -> None:
    async with secure(authority.issue_cert(HOST)) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(call(server, ca="/nowhere/hush.pem"), 5)
        assert (caught.value.code, caught.value.sentence) == (451, "The CA file cannot be read")


async def test_plain_http_behind_https(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"{}")) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(call(server), 0.5)
        assert type(caught.value) in (CannotConnect, TooSlow)
        assert server.requests == []


async def test_https_behind_http(adapter: HttpAdapter, authority: trustme.CA) -> None:
    async with secure(authority.issue_cert(HOST)) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(server.call(), 5)
        assert caught.value.code in (426, 551)


async def test_only_old_tls(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    """RFC 8996: TLS 1.1 and older are not to be used."""
    tls = context(authority.issue_cert(HOST))
    tls.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning):
        tls.minimum_version = ssl.TLSVersion.TLSv1
    with pytest.warns(DeprecationWarning):
        tls.maximum_version = ssl.TLSVersion.TLSv1_1
    async with raw_server(reply(b"{}"), tls=tls) as server:
        with pytest.raises(CannotConnect):
            await adapter.fetch(call(server, ca=ca), 5)


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
async def test_newer_tls(
    adapter: HttpAdapter, authority: trustme.CA, ca: str, version: ssl.TLSVersion
) -> None:
    tls = context(authority.issue_cert(HOST))
    tls.minimum_version = tls.maximum_version = version
    body = bytes(range(256)) * 4000
    async with raw_server(reply(body), tls=tls) as server:
        for made in (call(server, ca=ca), call(server, ca=ca, method="PUT", body=body, changes=True)):
            assert (await adapter.fetch(made, 5)).body == body
        assert server.requests[1].endswith(body)


async def test_a_handshake_that_never_ends(adapter: HttpAdapter) -> None:
    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()
        writer.close()

    listener = await asyncio.start_server(silent, LOOPBACK, 0)
    server = RawServer([], port=listener.sockets[0].getsockname()[1])
    for changes in (False, True):
        with pytest.raises(TooSlow):
            await adapter.fetch(call(server, changes=changes), 0.1)
    listener.close()
    await listener.wait_closed()


async def test_an_answer_too_many_inside_tls(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    """Where the socket looks idle, as what came in waits in decrypted form."""
    twice = Say(reply(b"first").data + reply(b"unasked").data)
    async with secure(authority.issue_cert(HOST), twice, reply(b"second"), reply(b"third")) as server:
        bodies = [(await adapter.fetch(call(server, ca=ca), 5)).body for _ in range(3)]
    assert bodies[0] == b"first"
    assert b"unasked" not in bodies


async def test_what_nobody_reads_is_not_collected(authority: trustme.CA, ca: str) -> None:
    """Inside TLS too, a server that sends without end is held back by TCP."""
    async with secure(authority.issue_cert(HOST), Say(bytes(20 << 20), "stall")) as server:
        plain = await open_stream(ip_address(LOOPBACK), server.port)
        stream = await plain.start_tls(trust_context(ca), HOST)
        await stream.write(b"GET / HTTP/1.1\r\n\r\n")
        await asyncio.sleep(0.3)
        assert stream._inbox.held < 3 * limits.READ_AHEAD_BYTES
        taken = 0
        async with asyncio.timeout(10):
            while taken < 20 << 20:
                taken += len(await stream.read(65_536))
        await stream.aclose()


async def test_https_does_not_lead_to_http(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    async with raw_server(reply(b"open")) as plain:
        to = reply(b"", "302 Found", f"Location: http://{HOST}:{plain.port}/")
        async with secure(authority.issue_cert(HOST), to) as server:
            reach = Reach(named=frozenset({(HOST, server.port), (HOST, plain.port)}))
            with pytest.raises(NotAllowed):
                await adapter.fetch(call(server, ca=ca, reach=reach), 5)
        assert plain.connections == 0


async def test_http_may_lead_to_https(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    async with secure(authority.issue_cert(HOST)) as server:
        to = reply(b"", "301 Moved", f"Location: https://{HOST}:{server.port}/")
        async with raw_server(to) as plain:
            reach = Reach(named=frozenset({(HOST, server.port), (HOST, plain.port)}))
            fetched = await adapter.fetch(Call(f"http://{HOST}:{plain.port}/", reach=reach, ca=ca), 5)
            assert fetched.origin == f"https://{HOST}:{server.port}"


async def test_the_guard_holds_inside_tls(adapter: HttpAdapter, authority: trustme.CA, ca: str) -> None:
    async with secure(authority.issue_cert(HOST)) as server:
        await adapter.fetch(call(server, ca=ca), 5)
        with pytest.raises(NotAllowed):
            await adapter.fetch(call(server, ca=ca, reach=Reach()), 5)
        assert server.connections == 1
