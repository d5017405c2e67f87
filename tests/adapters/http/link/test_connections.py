"""Whoever gives up, at whatever moment, leaves no connection behind."""

import asyncio
from contextlib import closing, suppress

import pytest

from adapters.files import Target
from adapters.http.client import HttpClient, Request
from adapters.port import Reach
from tests.adapters.giving_up import given_up

MOMENTS = 20  # turns of the loop; a whole exchange takes about ten


class Server:
    """Answers in two parts; what is asked for as `hang` never."""

    def __init__(self) -> None:
        self.open = 0
        self.left = asyncio.Event()
        self.left.set()

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.open += 1
        self.left.clear()
        with closing(writer), suppress(OSError, asyncio.IncompleteReadError):
            try:
                while True:
                    head = await reader.readuntil(b"\r\n\r\n")
                    if b"hang" not in head:
                        writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\nab")
                        await asyncio.sleep(0)
                        writer.write(b"cd")
            finally:
                self.open -= 1
                if not self.open:
                    self.left.set()


async def _fetch(client: HttpClient, request: Request) -> None:
    async with client.exchange(request, 5) as answer:
        async for _ in answer.chunks:
            pass


@pytest.mark.parametrize("again", [None, 0, 1, 2, 3])
@pytest.mark.parametrize(("method", "path"), [("GET", "/ok"), ("GET", "/hang"), ("DELETE", "/ok")])
async def test_whoever_gives_up_at_any_moment_leaves_no_connection(
    method: str, path: str, again: int | None
) -> None:
    """Once, or a second time while what was begun is being closed. (Found by a soak: where the loop is busy,
    a moment is long.) What changes something has a connection of its own, outside of the pool.
    """
    client, far = HttpClient(), Server()
    async with await asyncio.start_server(far.talk, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        url, reach = f"http://127.0.0.1:{port}{path}", Reach(named=frozenset({("127.0.0.1", port)}))
        request = Request(method, Target(url, url, reach=reach), changes=method != "GET")
        for moment in range(MOMENTS):
            await given_up(_fetch(client, request), moment, again)
        await asyncio.sleep(0.01)
        pools = list(client._link.pools._pools.values())
        every = [each for pool in pools for each in pool.connections]
        assert [each for each in every if not (each.is_idle() or each.is_closed())] == []
        assert [each for pool in pools for each in pool._requests] == []
        assert far.open == sum(each.is_idle() for each in every)
        await client.aclose()
        async with asyncio.timeout(5):
            await far.left.wait()
