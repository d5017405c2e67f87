"""What all exchanges of an adapter share: turns, and when a request is sent once more."""

import asyncio
from collections.abc import AsyncIterator

import pytest

from adapters import limits
from adapters.http.client import HttpClient, Request
from adapters.http.link.link import drain
from tests.adapters.http.talks import SECONDS, Line, collected, field_of, pieces, talking


async def test_a_request_is_sent_once_more_where_a_kept_connection_is_dead() -> None:
    """RFC 9112 section 9.3.1."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 200 OK\nContent-Length: 2\n\nok")
        await line.head()  # and closes without an answer

    client = HttpClient()
    async with talking(talk) as server:
        for _ in range(2):
            assert (await collected(client, Request("GET", server.target())))[1] == b"ok"
        assert len(server.lines) == 2
        assert len(server.heads()) == 3
    await client.aclose()


async def test_copies_within_one_server_do_not_wait_for_each_other_for_ever(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each holds a turn for reading while it writes: uploads have turns of their own."""
    monkeypatch.setattr(limits, "CALLS_PER_ORIGIN", 2)

    async def talk(line: Line) -> None:
        head = await line.head()
        await line.take(int(field_of(head, "content-length") or 0))
        await line.say("HTTP/1.1 200 OK\nContent-Length: 2\n\nok")

    client = HttpClient()
    reading = asyncio.Barrier(2)

    async def copy() -> None:
        async with client.exchange(Request("GET", server.target()), SECONDS):
            await reading.wait()
            await collected(client, Request("PUT", server.target(), body=pieces(b"ok", size=2), changes=True))

    async with talking(talk) as server, asyncio.timeout(10):
        await asyncio.gather(copy(), copy())
    await client.aclose()


async def test_draining_is_bounded() -> None:
    given = []

    async def chunks() -> AsyncIterator[bytes]:
        while True:
            given.append(1)
            yield bytes(10_000)

    await drain(chunks())
    assert len(given) == limits.DRAIN_BYTES // 10_000 + 1

    async def silent() -> AsyncIterator[bytes]:
        await asyncio.sleep(60)
        yield b""

    async with asyncio.timeout(5):
        await drain(silent())
