"""Callers -> streams (RFC 854 where they speak telnet)."""

import asyncio

import pytest

from adapters.stream.listening import listen
from adapters.streams import Stream
from tests.gateway.service.callers.callers import free_port


@pytest.mark.parametrize(
    ("telnet", "scheme", "heard"), [(False, "tcp", b"a\xff\xfd\x01b"), (True, "telnet", b"ab")]
)
async def test_a_caller(telnet: bool, scheme: str, heard: bytes) -> None:
    callers: asyncio.Queue[tuple[Stream, str]] = asyncio.Queue()
    port = free_port()
    (server,) = await listen("127.0.0.1", port, lambda *each: callers.put_nowait(each), lambda: telnet)
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    stream, address = await asyncio.wait_for(callers.get(), 5)
    assert (stream.origin, address, stream.datagrams) == (f"{scheme}://127.0.0.1", "127.0.0.1", False)
    writer.write(b"a\xff\xfd\x01b")
    got = b""
    while len(got) < len(heard):
        async with asyncio.timeout(5):
            got += await stream.receive() or b""
    assert got == heard
    await stream.send(b"x\xff")
    assert (await asyncio.wait_for(reader.read(100), 5)).startswith(b"\xff\xfc\x01" if telnet else b"x\xff")
    writer.close()
    assert await asyncio.wait_for(stream.receive(), 5) is None
    await stream.aclose()
    server.close()


async def test_a_port_in_use() -> None:
    port = free_port()
    server = await asyncio.start_server(lambda *_: None, "127.0.0.1", port)
    with pytest.raises(OSError):
        await listen("127.0.0.1", port, lambda *_: None, lambda: False)
    server.close()
