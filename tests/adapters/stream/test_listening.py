"""Callers -> streams (RFC 854 where they speak telnet)."""

import asyncio
import socket

import pytest

from adapters import limits
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


class Greeting(asyncio.Protocol):
    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.write(b"come in")
        transport.close()


@pytest.mark.parametrize("inherited", [False, True])
async def test_lines_that_are_turned_back(inherited: bool) -> None:
    """More at one time than one turn of the loop takes, and behind them one that is let in."""
    count = limits.BACKLOG + 1  # as many as Linux has wait
    seen: list[str] = []

    def turn_back(line: socket.socket, address: str) -> bool:
        seen.append(address)
        if len(seen) == count:
            return False
        line.send(b"go away")
        line.close()
        return True

    given = [socket.create_server(("127.0.0.1", 0), backlog=count)] if inherited else []
    (server,) = await open_listening(Greeting, "127.0.0.1", 0, given, turn_back)
    lines = [socket.create_connection(server.sockets[0].getsockname(), timeout=5) for _ in range(count)]
    heard = [await asyncio.to_thread(each.recv, 100) for each in lines]
    assert [heard.count(each) for each in (b"go away", b"come in")] == [count - 1, 1]
    assert seen == ["127.0.0.1"] * count
    for each in lines:
        each.close()
    server.close()


async def test_a_name_with_several_addresses() -> None:
    """All that it stands for, on one port each, as asyncio opens them."""
    servers = await open_listening(Greeting, "localhost", 0)
    for each in servers:
        reader, writer = await asyncio.open_connection(*each.sockets[0].getsockname()[:2])
        assert await asyncio.wait_for(reader.read(), 5) == b"come in"
        writer.close()
        each.close()
    assert servers


async def test_one_of_several_that_cannot_be_opened_leaves_none_open() -> None:
    """Bound alike: the first one listens, so that no other one may (socket(7), SO_REUSEADDR)."""
    given = [socket.socket() for _ in range(3)]
    for each in given:
        each.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        each.bind(("127.0.0.1", given[0].getsockname()[1]))
    _, port = given[0].getsockname()
    with pytest.raises(OSError, match="in use"):
        await open_listening(Greeting, "", 0, given)
    assert [each.fileno() for each in given] == [-1] * 3
    (server,) = await open_listening(Greeting, "127.0.0.1", port)
    server.close()


async def test_a_port_in_use() -> None:
    port = free_port()
    server = await asyncio.start_server(lambda *_: None, "127.0.0.1", port)
    with pytest.raises(OSError):
        await listen("127.0.0.1", port, lambda *_: None, lambda: False)
    server.close()
