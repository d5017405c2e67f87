"""Callers -> streams (RFC 854 where they speak telnet)."""

import asyncio
import socket

import pytest

from adapters.listening import open_listening
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


async def test_a_socket_that_listens_already() -> None:
    """One end of a handover: whoever waited in its queue is let in."""
    with socket.create_server(("127.0.0.1", 0)) as given:
        reader, writer = await asyncio.open_connection(*given.getsockname())
        heard = asyncio.get_running_loop().create_future()

        class Hearing(asyncio.Protocol):
            def data_received(self, data: bytes) -> None:
                heard.set_result(data)

        (server,) = await open_listening(Hearing, "", 0, [given])
        writer.write(b"waited")
        assert await asyncio.wait_for(heard, 5) == b"waited"
        writer.close()
        server.close()
    assert await asyncio.wait_for(reader.read(), 5) == b""


async def test_a_port_in_use() -> None:
    port = free_port()
    server = await asyncio.start_server(lambda *_: None, "127.0.0.1", port)
    with pytest.raises(OSError):
        await listen("127.0.0.1", port, lambda *_: None, lambda: False)
    server.close()
