"""Listening sockets that close; what reserved ports and listeners make of it is in their own tests."""

import asyncio
import socket
from contextlib import suppress

import pytest

from gateway.service.listening import close_listening


class Guest(asyncio.Protocol):
    """Says one word, and hangs up."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.write(b"hello")
        transport.close()


@pytest.mark.parametrize("turns", range(5))
async def test_nobody_is_left_waiting(turns: int) -> None:
    """Whatever turn of the loop lets somebody in: there is an answer, or the line is reset."""
    loop = asyncio.get_running_loop()
    servers = [await loop.create_server(Guest, "127.0.0.1", 0) for _ in range(2)]
    guests = [socket.create_connection(each.sockets[0].getsockname()) for each in servers for _ in range(3)]
    for _ in range(turns):
        await asyncio.sleep(0)
    await close_listening(servers)
    assert not any(each.is_serving() for each in servers)
    for guest in guests:
        guest.setblocking(False)
        with guest, suppress(ConnectionError):
            async with asyncio.timeout(5):
                assert await loop.sock_recv(guest, 16) in (b"", b"hello")


async def test_nothing_to_close() -> None:
    await close_listening([])
