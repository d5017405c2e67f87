"""Whoever gives up, at whatever moment, leaves no connection behind."""

import asyncio
from contextlib import closing, suppress

import httpcore
import pytest

from adapters.errors import BrokenOff
from adapters.files import Target
from adapters.http.client import HttpClient, Request
from adapters.http.link.connections import Pool
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


async def test_one_that_fails_before_it_begins_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    """As the torture does it; httpcore itself closes only what it has begun."""
    client, far = HttpClient(), Server()

    async def fails(_: httpcore.AsyncHTTP11Connection, __: httpcore.Request) -> httpcore.Response:
        raise httpcore.ReadError("made to fail")

    async with await asyncio.start_server(far.talk, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        url, reach = f"http://127.0.0.1:{port}/ok", Reach(named=frozenset({("127.0.0.1", port)}))
        request = Request("GET", Target(url, url, reach=reach))
        with monkeypatch.context() as patch:
            patch.setattr(httpcore.AsyncHTTP11Connection, "handle_async_request", fails)
            with pytest.raises(BrokenOff):
                await _fetch(client, request)
        assert [each for pool in client._link.pools._pools.values() for each in pool.connections] == []
        async with asyncio.timeout(5):
            await far.left.wait()
        await _fetch(client, request)
        await client.aclose()


async def test_one_that_another_request_has_is_left_to_it() -> None:
    far = Server()
    async with await asyncio.start_server(far.talk, "127.0.0.1", 0) as server, Pool() as pool:
        url = httpcore.URL(f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/ok")
        connection = pool.create_connection(url.origin)
        asked = httpcore.Request("GET", url, headers={"Host": "far"})
        first = await connection.handle_async_request(asked)
        with pytest.raises(httpcore.ConnectionNotAvailable):
            await connection.handle_async_request(asked)
        assert await first.aread() == b"abcd"
        await first.aclose()
        second = await connection.handle_async_request(asked)
        assert await second.aread() == b"abcd"
        await second.aclose()
        await connection.aclose()
        async with asyncio.timeout(5):
            await far.left.wait()
