"""Whoever gives up, at whatever moment, leaves no connection behind."""

import asyncio
from contextlib import closing, suppress

import pytest

from adapters.files import Target
from adapters.http.client import HttpClient, Request
from adapters.port import Reach


async def _server(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Answers in two parts; what is asked for as `hang` never."""
    with closing(writer), suppress(OSError, asyncio.IncompleteReadError):
        while True:
            head = await reader.readuntil(b"\r\n\r\n")
            if b"hang" not in head:
                writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\nab")
                await asyncio.sleep(0)
                writer.write(b"cd")


@pytest.mark.parametrize("path", ["/ok", "/hang"])
@pytest.mark.parametrize("again", [None, 0, 1, 2, 3])
async def test_whoever_gives_up_at_any_moment_leaves_no_connection_behind(
    path: str, again: int | None
) -> None:
    """Once, or a second time while what was begun is being closed. (Found by a soak: where the loop is busy,
    a moment is long.)
    """
    client = HttpClient()
    async with await asyncio.start_server(_server, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        url = f"http://127.0.0.1:{port}{path}"
        request = Request("GET", Target(url, url, reach=Reach(named=frozenset({("127.0.0.1", port)}))))

        async def fetch() -> None:
            async with client.exchange(request, 5) as answer:
                async for _ in answer.chunks:
                    pass

        for moment in range(60):
            task = asyncio.create_task(fetch())
            for _ in range(moment):
                await asyncio.sleep(0)
            task.cancel()
            if again is not None:
                for _ in range(again):
                    await asyncio.sleep(0)
                task.cancel()
            with suppress(asyncio.CancelledError):
                await task
        await asyncio.sleep(0.01)
        pools = list(client._link.pools._pools.values())
        left = [
            each for pool in pools for each in pool.connections if not (each.is_idle() or each.is_closed())
        ]
        assert left == []
        assert [each for pool in pools for each in pool._requests] == []
        await client.aclose()
