"""Replies: RFC 959 section 4.2."""

import asyncio
import logging
from collections.abc import Callable
from ipaddress import ip_address

import pytest

from adapters.errors import (
    BrokenOff,
    WrongDocument,
)
from adapters.ftp.adapter import FtpAdapter
from adapters.ftp.link.control import Control
from adapters.ftp.link.streams import open_streams
from tests.adapters.ftp.doing import (
    SECONDS,
    fails,
    listing,
    still_well,
    until,
)
from tests.adapters.ftp.scripted import Scripted
from tests.adapters.http.servers import reset


async def test_a_greeting_of_many_lines(adapter: FtpAdapter, server: Scripted) -> None:
    """RFC 959 section 4.2: between the first and the last line anything may stand, digits too."""
    server.greeting = "120 soon\r\n220-hello\r\n110 users online\r\n 220 not yet\r\n220-\r\n220 ready"
    await still_well(adapter, server)


async def test_an_endless_reply(adapter: FtpAdapter, server: Scripted) -> None:
    server.greeting = "220-" + "x" * 1_000_000
    await fails(listing(adapter, server, SECONDS), WrongDocument)
    server.greeting = "220-x\r\n" + "y" * 100 + "\r\n" * 100_000
    await fails(listing(adapter, server, SECONDS), WrongDocument)


@pytest.mark.parametrize("cut", range(1, 40, 3))
async def test_chunking_never_matters(cut: int) -> None:
    """A reply in two pieces, cut anywhere, with lines that are only nearly its end (RFC 959 section 4.2)."""
    said = b"211-first\r\n211-not yet\r\n2112 nor this\r\n 211 nor this\r\n211 last \r\n"

    async def speak(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for piece in (said[:cut], said[cut:]):
            writer.write(piece)
            await writer.drain()
            await asyncio.sleep(0.002)
        writer.close()

    listener = await asyncio.start_server(speak, "127.0.0.1", 0)
    control = Control(await open_streams(ip_address("127.0.0.1"), listener.sockets[0].getsockname()[1]))
    reply = await control.reply()
    assert (reply.code, reply.lines) == (
        211,
        ("first", "211-not yet", "2112 nor this", " 211 nor this", "last "),
    )
    with pytest.raises(BrokenOff):
        await control.reply()
    assert control.unasked
    control.cut()
    listener.close()


async def control_at(speak: Callable[[asyncio.StreamWriter], None]) -> tuple[Control, asyncio.Server]:
    listener = await asyncio.start_server(lambda _, writer: speak(writer), "127.0.0.1", 0)
    port = listener.sockets[0].getsockname()[1]
    return Control(await open_streams(ip_address("127.0.0.1"), port)), listener


async def test_a_command_on_a_line_that_is_gone() -> None:
    control, listener = await control_at(reset)
    with pytest.raises(BrokenOff):
        for _ in range(100):
            await control.send(b"NOOP")
            await asyncio.sleep(0.01)
    control.cut()
    listener.close()


async def test_no_command_reaches_a_log_even_where_logs_are_opened_wide(
    caplog: pytest.LogCaptureFixture,
) -> None:
    far: list[asyncio.StreamWriter] = []
    control, listener = await control_at(far.append)
    with caplog.at_level(logging.DEBUG, "aioftp.client"):
        await control.send(b"STOR diary-of-mine")
    assert "diary" not in caplog.text
    control.cut()
    listener.close()
    await until(lambda: bool(far))
    far[0].close()
    await asyncio.sleep(0)  # for the transport to close
