"""The proxy itself, between bare sockets, and between ftplib and pyftpdlib, which know nothing of it."""

import asyncio
import ftplib
import io
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from demo_site.areas.ftp import FtpArea
from tests.faults.proxy import LOOPBACK, FaultProxy
from tests.faults.script import (
    After,
    At,
    Channel,
    Cut,
    Drip,
    Garble,
    Misdirect,
    Refuse,
    Replace,
    Stall,
    Way,
)

USER, PASSWORD = "me", "an invented password"


@asynccontextmanager
async def echo() -> AsyncIterator[int]:
    """A server that sends back what it gets, until the end of it."""

    talks: list[asyncio.Task[None]] = []

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            while data := await reader.read(1000):
                writer.write(data)
        await gone(writer)

    def met(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talks.append(asyncio.create_task(talk(reader, writer)))

    server = await asyncio.start_server(met, LOOPBACK, 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        await asyncio.gather(*talks)


async def gone(writer: asyncio.StreamWriter) -> None:
    writer.close()
    with suppress(OSError):
        await writer.wait_closed()


async def exchanged(port: int, *data: bytes, patience: float = 5) -> bytes:
    """All that comes back; ConnectionResetError and TimeoutError as they come."""
    reader, writer = await asyncio.open_connection(LOOPBACK, port)
    try:
        writer.writelines(data)
        writer.write_eof()
        async with asyncio.timeout(patience):
            return await reader.read()
    finally:
        await gone(writer)


async def test_without_faults_everything_passes() -> None:
    data = bytes(range(256)) * 1000
    async with echo() as server, FaultProxy(server) as proxy:
        assert await exchanged(proxy.port, data) == data
        assert proxy.sent() == proxy.sent(Way.DOWN) == data
        assert proxy.plan.struck == []


@pytest.mark.parametrize(
    ("fault", "back"),
    [
        (Cut(At(b"cut")), b"before "),
        (Cut(At(b"cut", Way.DOWN), passed=True), b"before cut"),
        (Cut(After(3, Way.DOWN, Channel.CONTROL)), b"bef"),
        (Replace(At(b"cut", Way.DOWN), b"mend"), b"before mend after"),
    ],
)
async def test_bytes_before_a_cut_arrive_and_none_after_it(fault: Cut | Replace, back: bytes) -> None:
    async with echo() as server, FaultProxy(server, [fault]) as proxy:
        got = await exchanged(proxy.port, b"before cut after")
        # What was echoed before a cut on the way up may or may not be back before both sides are cut.
        assert (
            got == back if isinstance(fault, Replace) or fault.place.way is Way.DOWN else back.startswith(got)
        )
        assert proxy.plan.struck == [fault]


async def test_a_reset_is_one() -> None:
    async with echo() as server, FaultProxy(server, [Cut(At(b"x", Way.DOWN), reset=True)]) as proxy:
        with pytest.raises(ConnectionResetError):
            await exchanged(proxy.port, b"x")


async def test_a_dead_server_stays_dead_and_takes_all_connections_with_it() -> None:
    async with echo() as server, FaultProxy(server, [Cut(At(b"x"), dead=True)]) as proxy:
        reader, writer = await asyncio.open_connection(LOOPBACK, proxy.port)
        writer.write(b"still here")
        assert await reader.readexactly(10) == b"still here"
        assert await exchanged(proxy.port, b"x") == b""
        assert await reader.read() == b""
        await gone(writer)
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection(LOOPBACK, proxy.port)


async def test_a_blip_lets_the_next_one_through() -> None:
    async with echo() as server, FaultProxy(server, [Cut(At(b"x"))]) as proxy:
        assert await exchanged(proxy.port, b"x") == b""
        assert await exchanged(proxy.port, b"x") == b"x"


async def test_a_stall_keeps_the_line_open_and_says_nothing() -> None:
    async with echo() as server, FaultProxy(server, [Stall(At(b"x", Way.DOWN))]) as proxy:
        reader, writer = await asyncio.open_connection(LOOPBACK, proxy.port)
        writer.write(b"ax")
        assert await reader.readexactly(1) == b"a"
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.2):
                await reader.read(1)
        assert not reader.at_eof()
        await gone(writer)


async def test_a_drip_takes_its_time() -> None:
    async with echo() as server, FaultProxy(server, [Drip(100)]) as proxy:
        began = time.monotonic()
        assert await exchanged(proxy.port, b"0123456789") == b"0123456789"
        assert 0.09 < time.monotonic() - began < 2


async def test_rubbish_and_a_closed_door() -> None:
    async with echo() as server:
        async with FaultProxy(server, [Garble(At(b"", Way.DOWN), b"\0\xff")]) as proxy:
            reader, writer = await asyncio.open_connection(LOOPBACK, proxy.port)
            writer.write(b"hello")
            assert await reader.readexactly(2) == b"\0\xff"
            await gone(writer)
        async with FaultProxy(server, [Refuse()]) as proxy:
            with pytest.raises(ConnectionRefusedError):
                await asyncio.open_connection(LOOPBACK, proxy.port)
            assert proxy.plan.struck == [Refuse()]


async def test_a_server_that_is_not_there_ends_the_connection() -> None:
    async with FaultProxy(1) as proxy:
        assert await exchanged(proxy.port, b"hello") == b""


@pytest.fixture
def area(tmp_path: Path) -> Iterator[FtpArea]:
    (tmp_path / "note.txt").write_bytes(b"a note\r\n")
    with FtpArea(tmp_path, USER, PASSWORD) as running:
        yield running


def port(area: FtpArea) -> int:
    return urlsplit(area.url).port or 0


async def by_ftp(proxy: FaultProxy, *, epsv: bool) -> bytes:
    """note.txt, stored again as copy.txt and read back, by ftplib in a thread."""

    def talk() -> bytes:
        with ftplib.FTP(timeout=5) as client:
            client.connect(LOOPBACK, proxy.port)
            client.login(USER, PASSWORD)
            if epsv:
                client.af = 10  # not AF_INET: then ftplib asks with EPSV
            note, copy = bytearray(), bytearray()
            client.retrbinary("RETR note.txt", note.extend)
            client.storbinary("STOR copy.txt", io.BytesIO(note))
            client.retrbinary("RETR copy.txt", copy.extend)
            return bytes(copy)

    return await asyncio.to_thread(talk)


@pytest.mark.parametrize("epsv", [True, False])
async def test_data_connections_go_through_the_proxy_too(area: FtpArea, epsv: bool) -> None:
    async with FaultProxy(port(area), ftp=True) as proxy:
        assert await by_ftp(proxy, epsv=epsv) == b"a note\r\n"
        assert proxy.dialled == 4
        assert proxy.sent(Way.UP, Channel.DATA) == b"a note\r\n"
        assert proxy.sent(Way.DOWN, Channel.DATA) == b"a note\r\n" * 2
        assert (b"EPSV" in proxy.sent()) is epsv


async def test_data_connections_can_be_cut_and_refused(area: FtpArea) -> None:
    async with FaultProxy(port(area), [Cut(After(3, Way.UP))], ftp=True) as proxy:
        # Too short a text to be noticed by who sends it, and an end in good order for who gets it.
        assert await by_ftp(proxy, epsv=True) == b"a n"
    async with FaultProxy(port(area), [Refuse(Channel.DATA)], ftp=True) as proxy:
        with pytest.raises(ConnectionRefusedError):
            await by_ftp(proxy, epsv=True)


async def test_a_wrong_address_is_in_the_reply(area: FtpArea) -> None:
    """192.0.2.0/24 is for documentation (RFC 5737): ftplib does not dial it unless told to trust it."""
    async with FaultProxy(port(area), [Misdirect("192.0.2.1")], ftp=True) as proxy:
        assert await by_ftp(proxy, epsv=False) == b"a note\r\n"
        assert proxy.sent(Way.DOWN).count(b"227 Entering passive mode (127,0,0,1,") == 3  # the server's own
    sent = await asyncio.to_thread(_pasv_reply, port(area))
    assert sent.startswith("227 ")
    assert "(192,0,2,1," in sent


def _pasv_reply(server: int) -> str:
    """What a client of a misdirected proxy is told."""

    async def ask() -> str:
        async with FaultProxy(server, [Misdirect("192.0.2.1")], ftp=True) as proxy:
            reader, writer = await asyncio.open_connection(LOOPBACK, proxy.port)
            writer.write(f"USER {USER}\r\nPASS {PASSWORD}\r\nPASV\r\n".encode())
            lines = [(await reader.readline()).decode() for _ in range(4)]
            await gone(writer)
            return lines[-1]

    return asyncio.run(ask())
