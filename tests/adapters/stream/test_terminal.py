"""Telnet on a line: what is answered when, to a real server and to ones that misbehave."""

import asyncio
import socket
from asyncio import StreamReader, StreamWriter
from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import BrokenOff
from adapters.stream.adapter import LineAdapter
from adapters.streams import Stream
from tests.adapters.stream.servers import (
    FarServer,
    calling,
    here,
    resident,
    serving,
    telnetd,
    up_to,
)


async def opened(port: int) -> Stream:
    return await LineAdapter(resolve=here).open(calling("telnet", port), 5)


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FarServer]:
    with telnetd(tmp_path_factory.mktemp("telnetd")) as server:
        yield server


async def test_a_real_server_is_told_kind_and_size(real: FarServer) -> None:
    line = await LineAdapter(resolve=here).open(real.calling(), 5)
    async with asyncio.timeout(10):
        told = await up_to(line.receive, real.greeting)
    assert b"rows 24; columns 40" in told
    assert b"kind glass-40" in told.lower()
    line.abort()


@pytest.fixture
def shell(tmp_path: Path) -> Iterator[FarServer]:
    """A telnet server whose program reads lines, as a login does; it echoes, as the terminal is its own."""
    with telnetd(tmp_path) as server:
        (tmp_path / "program").write_text(
            '#!/bin/sh\nprintf "name? "\nread name\necho "hello $name"\nread wait\n'
        )
        yield server


@pytest.mark.parametrize("end", [b"\r", b"\n"])
async def test_a_line_typed_to_a_real_server(end: bytes, shell: FarServer) -> None:
    """Eight bits: this server asks for binary, and would strip the eighth without. It echoes."""
    line = await LineAdapter(resolve=here).open(shell.calling(), 5)
    async with asyncio.timeout(10):
        await up_to(line.receive, b"name? ")
        for byte in b"Zo\xeb" + end:
            await line.send(bytes((byte,)))
        assert await up_to(line.receive, b"hello Zo\xeb\r\n") == b"Zo\xeb\r\nhello Zo\xeb\r\n"
    await line.aclose()


async def test_a_cr_is_given_its_nul_when_nothing_follows(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 854: CR is followed by LF or NUL, and some servers wait for it."""
    monkeypatch.setattr(limits, "TELNET_CR_SECONDS", 0.05)
    loop = asyncio.get_running_loop()
    heard: asyncio.Queue[tuple[bytes, float]] = asyncio.Queue()

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        while data := await reader.read(1):
            heard.put_nowait((data, loop.time()))

    async with serving(serve) as port:
        line = await opened(port)
        for piece in (b"a\r", b"\n", b"b\r"):
            await line.send(piece)
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.2)
        await line.send(b"c\r")
        await line.aclose()  # which does not leave a CR alone either
        got = [heard.get_nowait() for _ in range(heard.qsize())]
        assert b"".join(byte for byte, _ in got) == b"a\r\nb\r\0c\r\0"
        assert got[5][1] - got[4][1] > 0.03


async def test_a_line_that_is_gone_before_the_nul(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TELNET_CR_SECONDS", 0.02)

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        await reader.read(1)

    async with serving(serve) as port:
        for end in ("abort", "wait"):
            line = await opened(port)
            await line.send(b"a\r")
            if end == "abort":
                line.abort()
            await asyncio.sleep(0.1)  # an error in the timer would fail this test as unhandled
            with pytest.raises(BrokenOff):
                for _ in range(50):
                    await line.send(b"x")
                    await asyncio.sleep(0.01)
            await line.aclose()


async def test_the_data_mark_comes_as_urgent_data_and_in_its_place() -> None:
    """RFC 854, the Synch signal: without SO_OOBINLINE its second byte would be missing in the text."""

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        raw = writer.get_extra_info("socket")
        with socket.socket(fileno=socket.dup(raw.fileno())) as own:
            own.send(b"be")
            own.send(b"\xff\xf2", socket.MSG_OOB)
            own.send(b"fore")
        await reader.read()

    async with serving(serve) as port:
        line = await opened(port)
        assert await up_to(line.receive, b"fore") == b"before"
        line.abort()


async def test_who_floods_with_questions_and_reads_no_answer_is_not_read() -> None:
    sent = 0

    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        nonlocal sent
        writer.transport.pause_reading()  # type: ignore[attr-defined]
        writer.write(b"\xff\xfd\x18")
        while True:
            writer.write(b"\xff\xfa\x18\x01\xff\xf0" * 10_000)
            await writer.drain()
            sent += 60_000

    async with serving(serve) as port:
        line = await opened(port)
        waiting = asyncio.create_task(line.receive())
        await asyncio.sleep(0.5)
        before, stopped_at = resident(), sent
        await asyncio.sleep(0.5)
        assert sent == stopped_at
        assert resident() - before < 1 << 20
        assert not waiting.done()
        line.abort()
        with pytest.raises(BrokenOff):
            await waiting


async def test_pieces_are_short_also_where_a_byte_was_left_over() -> None:
    async def serve(reader: StreamReader, writer: StreamWriter) -> None:
        writer.write(b"\xff")
        await writer.drain()
        await reader.read(1)
        writer.write(b"a" * 400_000)
        await writer.drain()

    async with serving(serve) as port:
        line = await opened(port)
        first = asyncio.create_task(line.receive())
        await asyncio.sleep(0.05)
        await line.send(b"!")
        pieces = [await first]
        while pieces[-1] is not None:
            pieces.append(await line.receive())
        assert b"".join(filter(None, pieces)) == b"\xff" + b"a" * 400_000
        assert max(map(len, filter(None, pieces))) <= limits.CHUNK_BYTES
        line.abort()
