"""TCP lines and what goes wrong on them: every far server here does one thing, on loopback."""

import asyncio
from asyncio import StreamReader, StreamWriter
from contextlib import suppress
from ipaddress import ip_address
from typing import Any

import pytest

from adapters import limits
from adapters.errors import BrokenOff
from adapters.stream.connection import Connection, open_connection
from tests.adapters.stream.servers import LOOPBACK, everything, reset, resident, serving, until


async def opened(port: int) -> Connection:
    return await open_connection(ip_address(LOOPBACK), port)


async def test_a_far_server_that_closes_at_once() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        pass

    async with serving(serve) as port:
        line = await opened(port)
        assert await line.receive() is None
        assert await line.receive() is None
        with pytest.raises(BrokenOff):
            for _ in range(100):  # the first ones are answered by a reset (RFC 9293 section 3.10.7.1)
                await line.send(b"anybody there?")
                await asyncio.sleep(0.01)
        await line.aclose()


async def test_after_its_end_a_far_server_is_still_spoken_to() -> None:
    heard: asyncio.Future[bytes] = asyncio.get_running_loop().create_future()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        writer.write(b"that is all from here")
        writer.write_eof()
        heard.set_result(await reader.read())

    async with serving(serve) as port:
        line = await opened(port)
        assert await everything(line.receive) == b"that is all from here"
        await line.send(b"and ")
        await line.send(b"from here")
        await line.aclose()
        assert await heard == b"and from here"


async def test_a_line_that_is_cut() -> None:
    go = asyncio.Event()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        writer.write(b"half of ")
        await go.wait()
        reset(writer)

    async with serving(serve) as port:
        line = await opened(port)
        assert await line.receive() == b"half of "
        waiting = asyncio.create_task(line.receive())
        await asyncio.sleep(0.05)
        go.set()
        for receiving in (waiting, line.receive()):
            with pytest.raises(BrokenOff):
                await receiving
        with pytest.raises(BrokenOff):
            await line.send(b"x")
        await line.aclose()
        line.abort()


async def test_what_came_before_a_cut_is_received() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        writer.write(b"before")
        await writer.drain()
        reset(writer)

    async with serving(serve) as port:
        line = await opened(port)
        await asyncio.sleep(0.1)
        assert await line.receive() == b"before"
        with pytest.raises(BrokenOff):
            await line.receive()
        line.abort()


async def test_a_flood_that_nobody_receives_waits_at_the_far_server() -> None:
    sent = 0

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        nonlocal sent
        while True:
            writer.write(b"x" * 65_536)
            await writer.drain()
            sent += 65_536

    async with serving(serve) as port:
        line = await opened(port)
        await line.receive()
        before = resident()
        await asyncio.sleep(0.3)
        stopped_at = sent
        await asyncio.sleep(0.3)
        assert sent == stopped_at  # the kernels' buffers are full
        assert resident() - before < 2 << 20
        got = await until(line.receive, 2 * sent)  # and all goes on
        assert len(got) >= 2 * stopped_at
        line.abort()


async def test_a_far_server_that_does_not_read_is_waited_for() -> None:
    go = asyncio.Event()
    got = 0

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        nonlocal got
        await go.wait()
        while data := await reader.read(65_536):
            got += len(data)

    async with serving(serve) as port:
        line = await opened(port)
        before, taken = resident(), 0
        with suppress(TimeoutError):
            while True:
                async with asyncio.timeout(0.3):
                    taken += 16_384
                    await line.send(b"x" * 16_384)
        assert 16_384 < taken < 1 << 20  # our kernel's buffer does not grow with what is not read
        assert resident() - before < 2 << 20
        go.set()
        await line.send(b"x")
        await line.aclose()
        assert got == taken + 1  # what a cancelled send has begun is sent all the same


async def test_hanging_up_waits_until_all_is_taken_whatever_the_far_server_says_meanwhile() -> None:
    heard: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        got = 0
        while data := await reader.read(65_536):
            got += len(data)
            writer.write(b"blah " * 10_000)
            await asyncio.sleep(0.005)
        heard.set_result(got)

    async with serving(serve) as port:
        line = await opened(port)
        sending = asyncio.create_task(line.send(b"x" * (3 << 20)))
        await asyncio.sleep(0.01)
        await line.aclose()
        assert await heard == 3 << 20
        await sending


@pytest.mark.parametrize(("size", "ended"), [(0, False), (8 << 20, False), (8 << 20, True)])
async def test_but_not_for_ever(size: int, ended: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """A far server that neither reads nor closes, with nothing on its way to it and with much; or that has
    ended its side, so that only what is on its way is waited for.
    """
    monkeypatch.setattr(limits, "STREAM_CLOSE_SECONDS", 0.2)
    astray: list[dict[str, Any]] = []  # what asyncio's callbacks raised
    asyncio.get_running_loop().set_exception_handler(lambda _, context: astray.append(context))

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        writer.transport.pause_reading()  # type: ignore[attr-defined]
        if ended:
            writer.write_eof()
        await asyncio.sleep(60)

    async with serving(serve) as port:
        line = await opened(port)
        sending = asyncio.create_task(line.send(b"x" * size))
        await asyncio.sleep(0.05)
        began = asyncio.get_running_loop().time()
        await line.aclose()
        assert 0.15 < asyncio.get_running_loop().time() - began < 1
        if size:
            with pytest.raises(BrokenOff):
                await sending
        await asyncio.gather(sending, return_exceptions=True)
    assert astray == []


async def test_hanging_up_that_is_cancelled_hangs_up() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        await asyncio.sleep(60)

    async with serving(serve) as port:
        line = await opened(port)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.05):
                await line.aclose()
        with pytest.raises(BrokenOff):
            await line.receive()


async def test_while_it_is_hung_up_nothing_is_sent() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        await reader.read()
        await asyncio.sleep(0.1)

    async with serving(serve) as port:
        line = await opened(port)
        closing = asyncio.create_task(line.aclose())
        await asyncio.sleep(0.02)
        with pytest.raises(BrokenOff):
            await line.send(b"x")
        await closing


async def test_a_cancelled_receive_leaves_one_piece_at_most_in_memory() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        await reader.read(1)
        writer.write(b"x" * (8 << 20))
        await writer.drain()

    async with serving(serve) as port:
        line = await opened(port)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.02):
                await line.receive()
        await line.send(b"!")
        await asyncio.sleep(0.1)
        assert 0 < len(line._wire.piece) <= limits.CHUNK_BYTES
        assert await until(line.receive, 8 << 20) == b"x" * (8 << 20)
        line.abort()
