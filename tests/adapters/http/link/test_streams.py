"""Bytes to and from a socket: pauses, ends, breaks."""

import asyncio
import contextlib
import itertools
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from ipaddress import ip_address
from time import perf_counter

import httpcore
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import CannotConnect
from adapters.http.link.exchange import CURRENT, Exchange
from adapters.http.link.streams import Stream, _Inbox, open_stream
from adapters.trust import trust_context
from tests.adapters.http.servers import LOOPBACK, free_port, reset

Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@asynccontextmanager
async def connected(talk: Talk) -> AsyncIterator[Stream]:
    """A stream whose other end runs `talk` and then closes."""
    done = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await talk(reader, writer)
        finally:
            writer.close()
            done.set()

    listener = await asyncio.start_server(serve, LOOPBACK, 0)
    stream = await open_stream(ip_address(LOOPBACK), listener.sockets[0].getsockname()[1])
    try:
        async with asyncio.timeout(10):  # a stream that hangs is a failure, not a test that never ends
            yield stream
    finally:
        await stream.aclose()
        listener.close()
        async with asyncio.timeout(5):
            await done.wait()


async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while data := await reader.read(100_000):
        writer.write(data)
        await writer.drain()


async def test_bytes_go_and_come() -> None:
    async with connected(echo) as stream:
        await stream.write(b"")
        await stream.write(b"harbour")
        assert await stream.read(4) == b"harb"
        assert await stream.read(100) == b"our"


async def test_much_goes_and_comes() -> None:
    sent = bytes(range(256)) * 20_000
    async with connected(echo) as stream:
        writing = asyncio.create_task(stream.write(sent))
        received = bytearray()
        while len(received) < len(sent):
            received += await stream.read(65_536)
        await writing
    assert received == sent


async def test_what_nobody_reads_is_not_collected() -> None:
    """A server that sends without end is held back by TCP, not by memory."""

    async def flood(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with pytest.raises(OSError):
            while True:
                writer.write(bytes(65_536))
                await writer.drain()

    async with connected(flood) as stream:
        while stream._inbox.held <= limits.READ_AHEAD_BYTES:  # noqa: ASYNC110 - nothing tells
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.1)
        held = stream._inbox.held
        assert held < 3 * limits.READ_AHEAD_BYTES
        taken = 0
        while taken < 4 * held:  # reading goes on
            taken += len(await stream.read(65_536))


async def test_what_is_read_slowly_is_not_collected_either() -> None:
    """A reader that gives way to others after each piece, as one does that writes it somewhere."""

    async def endless(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while True:
                writer.write(bytes(1 << 20))
                await writer.drain()

    async with connected(endless) as stream:
        worst = 0
        for _ in range(300):
            assert await stream.read(65_536)
            await asyncio.sleep(0)
            worst = max(worst, stream._inbox.held)
        assert 0 < worst <= limits.READ_AHEAD_BYTES + 262_144  # what asyncio reads in one go
        await stream.aclose()


async def test_a_writer_waits_for_its_reader() -> None:
    async def deaf(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(0.3)

    async with connected(deaf) as stream:
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.1):
                await stream.write(bytes(50 << 20))


async def test_the_end() -> None:
    async def farewell(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"bye")

    exchange = Exchange()
    token = CURRENT.set(exchange)
    async with connected(farewell) as stream:
        assert await stream.read(100) == b"bye"
        assert exchange == Exchange()
        assert await stream.read(100) == b""
        assert exchange == Exchange(ended=True)
        assert stream.get_extra_info("is_readable")
        with pytest.raises(httpcore.WriteError):
            await stream.write(b"more")
    CURRENT.reset(token)


async def test_a_break() -> None:
    async def slam(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        reset(writer)

    async with connected(slam) as stream:
        await stream.write(b"harbour")
        with pytest.raises(httpcore.ReadError):
            assert await stream.read(100) != b""


async def test_an_idle_connection_notices_what_it_should_not_get() -> None:
    async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        writer.write(b"unasked")
        await reader.read()

    async with connected(babble) as stream:
        states = [(stream.get_extra_info("is_readable"), stream.answered_unasked)]
        await stream.write(b"x")
        await asyncio.sleep(0.05)
        states.append((stream.get_extra_info("is_readable"), stream.answered_unasked))
        await stream.read(100)
        states.append((stream.get_extra_info("is_readable"), stream.answered_unasked))
        assert states == [(False, True), (True, True), (False, False)]


async def test_sending_is_marked_in_the_exchange() -> None:
    exchange = Exchange()
    async with connected(echo) as stream:
        token = CURRENT.set(exchange)
        await stream.write(b"")
        assert exchange == Exchange()
        await stream.write(b"x")
        assert exchange == Exchange(sent=True)
        CURRENT.reset(token)


async def test_it_knows_whom_it_is_connected_to() -> None:
    async with connected(echo) as stream:
        assert stream.get_extra_info("server_addr")[0] == LOOPBACK
        assert stream.get_extra_info("ssl_object") is None
        assert stream.get_extra_info("nonsense") is None


async def test_nobody_there() -> None:
    with pytest.raises(ConnectionRefusedError):
        await open_stream(ip_address(LOOPBACK), await free_port())


@pytest.mark.parametrize(
    "answer", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x15\x03\x01\x00\x02\x02\x28"]
)
async def test_no_tls_there(answer: bytes) -> None:
    async def no_tls(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(100)
        writer.write(answer)

    async with connected(no_tls) as stream:
        with pytest.raises(CannotConnect):
            await stream.start_tls(trust_context(None), "site.example")


async def test_a_name_that_tls_cannot_carry() -> None:
    async with connected(echo) as stream:
        with pytest.raises(CannotConnect):
            await stream.start_tls(trust_context(None), "")


async def test_a_connection_that_is_lost_as_the_handshake_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """asyncio then has no transport to give, and raises nothing."""

    async def lost(*_: object, **__: object) -> None:
        return None

    monkeypatch.setattr(asyncio.get_running_loop(), "start_tls", lost)
    async with connected(echo) as stream:
        with pytest.raises(CannotConnect, match="No TLS"):
            await stream.start_tls(trust_context(None), "site.example")


async def test_a_handshake_that_is_given_up() -> None:
    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()

    began = perf_counter()
    async with connected(silent) as stream:
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.1):
                await stream.start_tls(trust_context(None), "site.example")
    assert perf_counter() - began < 2


async def test_a_read_has_patience() -> None:
    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()

    async with connected(silent) as stream:
        began = perf_counter()
        with pytest.raises(httpcore.ReadTimeout):
            await stream.read(10, 0.1)
        assert 0.05 < perf_counter() - began < 2
        await stream.aclose()


async def test_a_write_has_patience_while_nothing_goes() -> None:
    async def deaf(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(1)

    async with connected(deaf) as stream:
        with pytest.raises(httpcore.WriteTimeout):
            await stream.write(bytes(50 << 20), 0.2)


async def test_a_write_that_goes_slowly_goes() -> None:
    """More than its patience in all, and never that long without a byte."""

    async def slow(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while await reader.read(1 << 20):  # noqa: ASYNC110 - it reads
            await asyncio.sleep(0.02)

    async with connected(slow) as stream:
        began = perf_counter()
        await stream.write(bytes(24 << 20), 0.5)
        assert perf_counter() - began > 0.5
        await stream.aclose()


async def test_a_watched_write_does_not_outwait_an_answer() -> None:
    """RFC 9112 section 9.3; an interim answer is none, and without somebody who watches a write goes on."""

    async def answers(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"HTTP/1.1 100 Continue\r\n\r\n")
        await asyncio.sleep(0.3)
        writer.write(b"HTTP/1.1 413 Content Too Large\r\n\r\n")
        await asyncio.sleep(2)

    async with connected(answers) as stream:
        arrivals: list[bool] = []
        stream.watch(lambda: arrivals.append(stream.answered))
        began = perf_counter()
        with pytest.raises(httpcore.WriteError):
            await stream.write(bytes(50 << 20))
        assert perf_counter() - began > 0.2
        assert arrivals == [False, True]
        assert (await stream.read(100)).startswith(b"HTTP/1.1 100")
        stream.watch(None)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.1):
                await stream.write(b"more")


@given(
    parts=st.lists(st.binary(min_size=1, max_size=50), max_size=20),
    steps=st.lists(st.integers(1, 40), min_size=1),
)
def test_pieces_are_handed_out_in_any_portions(parts: list[bytes], steps: list[int]) -> None:
    async def run() -> bytes:
        inbox = _Inbox()
        for part in parts:
            inbox.data_received(part)
        inbox.eof_received()
        taken = bytearray()
        for step in itertools.cycle(steps):
            data = await inbox.take(step, None)
            assert len(data) <= step
            if not data:
                return bytes(taken)
            taken += data
        return b""

    assert asyncio.run(run()) == b"".join(parts)
