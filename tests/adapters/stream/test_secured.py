"""TLS lines: who is trusted (RFC 5280, RFC 9525), and how a line inside TLS ends (RFC 8446 section 6.1)."""

import asyncio
import ssl
from asyncio import StreamReader, StreamWriter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, HeadraceError, TooSlow, Untrusted
from adapters.stream.adapter import LineAdapter
from adapters.streams import Stream
from tests.adapters.stream.servers import (
    HOST,
    LOOPBACK,
    calling,
    everything,
    here,
    reset,
    resident,
    serving,
    until,
)

AUTHORITY = trustme.CA()


@pytest.fixture
def ca(tmp_path: Path) -> str:
    path = tmp_path / "ca.pem"
    AUTHORITY.cert_pem.write_to_path(str(path))
    return str(path)


def context(certificate: trustme.LeafCert | None = None) -> ssl.SSLContext:
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    (certificate or AUTHORITY.issue_cert(HOST)).configure_cert(made)
    return made


async def opened(port: int, ca: str | None, host: str = HOST, seconds: float = 5) -> Stream:
    return await LineAdapter(resolve=here).open(calling("tls", port, host, ca=ca), seconds)


async def greet(reader: StreamReader, writer: StreamWriter) -> None:
    writer.write(b"welcome")
    await writer.drain()
    await reader.read()


async def nothing(reader: StreamReader, writer: StreamWriter) -> None:
    await reader.read()


@pytest.mark.parametrize("host", [HOST, f"{HOST}.", "QUAY.example", LOOPBACK, "[::ffff:127.0.0.1]"])
async def test_a_good_certificate_and_the_name_that_is_told(host: str, ca: str) -> None:
    """RFC 6066 section 3: SNI holds the name of the URL without a dot at its end, and never an address."""
    asked: list[str | None] = []
    tls = context(AUTHORITY.issue_cert(HOST, LOOPBACK))
    tls.sni_callback = lambda inside, name, _: asked.append(name)
    async with serving(greet, tls) as port:
        line = await opened(port, ca, host)
        assert await line.receive() == b"welcome"
        assert asked == [None if LOOPBACK in host else HOST]
        await line.aclose()


OLD = datetime.now(UTC) - timedelta(days=1)


@pytest.mark.parametrize(
    "certificate",
    [
        AUTHORITY.issue_cert(HOST, not_after=OLD),
        AUTHORITY.issue_cert("elsewhere.example"),
        AUTHORITY.issue_cert("*.quay.example"),
        AUTHORITY.issue_cert(LOOPBACK),  # the address that is dialled is not the name that was asked for
        trustme.CA().issue_cert(HOST),
    ],
    ids=["expired", "other host", "a wildcard below", "address", "stranger"],
)
async def test_a_certificate_that_is_not_good(certificate: trustme.LeafCert, ca: str) -> None:
    heard: list[bytes] = []

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        heard.append(await reader.read())

    async with serving(serve, context(certificate)) as port:
        with pytest.raises(Untrusted) as caught:
            await opened(port, ca)
        assert caught.value.far == f"tls://{HOST}:{port}"
    assert b"".join(heard) == b""


async def test_the_usual_authorities_do_not_know_a_server_of_one_s_own() -> None:
    async with serving(greet, context()) as port:
        with pytest.raises(Untrusted):
            await opened(port, None)


async def test_a_self_signed_certificate(ca: str, tmp_path: Path) -> None:
    """The authority's own, as a server's: not for that name, and good for nothing but signing."""
    stranger = trustme.CA()
    (tmp_path / "key.pem").write_bytes(stranger.private_key_pem.bytes())
    (tmp_path / "own.pem").write_bytes(stranger.cert_pem.bytes())
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.load_cert_chain(tmp_path / "own.pem", tmp_path / "key.pem")
    async with serving(greet, tls) as port:
        with pytest.raises(Untrusted):
            await opened(port, ca)


async def test_an_old_version_of_tls(ca: str) -> None:
    tls = context()
    tls.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning):
        tls.minimum_version = tls.maximum_version = ssl.TLSVersion.TLSv1_1
    async with serving(greet, tls) as port:
        with pytest.raises((CannotConnect, BrokenOff)):  # asyncio's server closes without saying why
            await opened(port, ca)


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
async def test_versions_that_are_spoken(version: ssl.TLSVersion, ca: str) -> None:
    tls = context()
    tls.minimum_version = tls.maximum_version = version
    async with serving(greet, tls) as port:
        line = await opened(port, ca)
        assert await line.receive() == b"welcome"
        line.abort()


async def test_a_server_without_tls(ca: str) -> None:
    async with serving(greet) as port:
        with pytest.raises(CannotConnect, match="No TLS with the far server"):
            await opened(port, ca)


@pytest.mark.parametrize("cut", [False, True])
async def test_a_server_that_closes_before_the_line_is_open(cut: bool, ca: str) -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        await reader.read(100)
        if cut:
            reset(writer)

    async with serving(serve) as port:
        with pytest.raises(BrokenOff):
            await opened(port, ca)


async def test_a_server_that_says_nothing(ca: str) -> None:
    ended = asyncio.Event()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        await reader.read(1)
        await reader.read()
        ended.set()

    async with serving(serve) as port:
        began = asyncio.get_running_loop().time()
        with pytest.raises(TooSlow):
            await opened(port, ca, seconds=0.2)
        assert asyncio.get_running_loop().time() - began < 1
        async with asyncio.timeout(5):
            await ended.wait()  # nothing is left open


async def test_a_ca_file_that_is_not_there() -> None:
    async with serving(greet, context()) as port:
        with pytest.raises(HeadraceError, match="The CA file cannot be read"):
            await opened(port, "nowhere.pem")


class FarEnd:
    """TLS by hand, for what asyncio's cannot do: each way ends, or does not, as a test wants."""

    def __init__(self, reader: StreamReader, writer: StreamWriter) -> None:
        self.reader, self.writer = reader, writer
        self.incoming, self.outgoing = ssl.MemoryBIO(), ssl.MemoryBIO()
        self.inside = context().wrap_bio(self.incoming, self.outgoing, server_side=True)

    async def do(self, what: str, *words: bytes | int) -> bytes:
        while True:
            try:
                done = getattr(self.inside, what)(*words)
            except ssl.SSLWantReadError:
                self.flush()
                data = await self.reader.read(65_536)
                self.incoming.write(data)
                if not data:
                    self.incoming.write_eof()
            except ssl.SSLZeroReturnError:  # both ways have ended
                return b""
            else:
                self.flush()
                return bytes(done or b"") if what == "read" else b""

    def farewell(self) -> None:
        try:
            self.inside.unwrap()
        except ssl.SSLWantReadError:
            self.flush()

    def flush(self) -> None:
        self.writer.write(self.outgoing.read())


async def test_each_way_ends_by_itself(ca: str) -> None:
    heard: asyncio.Future[list[bytes]] = asyncio.get_running_loop().create_future()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        far = FarEnd(reader, writer)
        await far.do("do_handshake")
        await far.do("write", b"that is all from here")
        far.farewell()
        heard.set_result([await far.do("read", 100), await far.do("read", 100)])

    async with serving(serve) as port:
        line = await opened(port, ca)
        assert await everything(line.receive) == b"that is all from here"
        assert await line.receive() is None
        await line.send(b"and from here")
        await line.aclose()
        assert await heard == [b"and from here", b""]  # and it was told our farewell


@pytest.mark.parametrize("how", ["closed", "cut", "garbled"])
async def test_a_line_that_ends_without_a_farewell_broke_off(how: str, ca: str) -> None:
    go = asyncio.Event()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        far = FarEnd(reader, writer)
        await far.do("do_handshake")
        await far.do("write", b"half of ")
        await go.wait()
        if how == "cut":
            reset(writer)
        if how == "garbled":
            far.inside.write(b"the rest")
            data = bytearray(far.outgoing.read())
            data[-1] ^= 1
            writer.write(data)
            await reader.read()

    async with serving(serve) as port:
        line = await opened(port, ca)
        assert await line.receive() == b"half of "
        go.set()
        for _ in range(2):
            with pytest.raises(BrokenOff):
                await line.receive()
        with pytest.raises(BrokenOff):
            for _ in range(100):
                await line.send(b"x")
                await asyncio.sleep(0.01)
        await line.aclose()


async def test_a_flood_that_nobody_receives_waits_at_the_far_server(ca: str) -> None:
    sent = 0

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        nonlocal sent
        while True:
            writer.write(b"x" * 65_536)
            await writer.drain()
            sent += 65_536

    async with serving(serve, context()) as port:
        line = await opened(port, ca)
        await line.receive()
        await asyncio.sleep(0.3)
        before, stopped_at = resident(), sent
        await asyncio.sleep(0.3)
        assert sent == stopped_at
        assert resident() - before < 1 << 20
        assert line._incoming.pending <= limits.CHUNK_BYTES  # type: ignore[attr-defined]
        assert len(await until(line.receive, 2 * sent)) >= 2 * stopped_at
        line.abort()


async def test_hanging_up_waits_until_all_is_taken(ca: str) -> None:
    heard: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        far = FarEnd(reader, writer)
        await far.do("do_handshake")
        got = 0
        while data := await far.do("read", 65_536):
            got += len(data)
            await far.do("write", b"blah " * 100)
        heard.set_result(got)

    async with serving(serve) as port:
        line = await opened(port, ca)
        sending = asyncio.create_task(line.send(b"x" * (1 << 20)))
        await sending
        await line.aclose()
        assert await heard == 1 << 20


async def test_a_name_that_no_certificate_could_have(ca: str) -> None:
    """A label has at most 63 octets (RFC 1035 section 2.3.4)."""
    async with serving(greet, tls=context()) as port:
        with pytest.raises(CannotConnect):
            await opened(port, ca, "x" * 64)
