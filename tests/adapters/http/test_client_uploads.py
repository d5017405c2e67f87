"""Streamed bodies of one exchange: sources that fail, and answers that come before the end."""

import asyncio
from collections.abc import AsyncIterator
from time import perf_counter

import pytest

from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    HeadraceError,
    MayBeDone,
    TooLarge,
    WrongDocument,
)
from adapters.files import Upload
from adapters.http.client import HttpClient, Request
from tests.adapters.http.servers import reset
from tests.adapters.http.talks import SECONDS, Line, collected, endless, fine, pieces, talking

# A source that fails: the far server never has a whole request


SOURCE = ChangedMeanwhile("The source changed")


@pytest.mark.parametrize("size", [None, 300_000], ids=["size unknown", "size known"])
@pytest.mark.parametrize("sent", [0, 1, 300_000])
async def test_what_the_source_raises_comes_out_and_the_request_is_not_whole(
    client: HttpClient, size: int | None, sent: int
) -> None:
    """Even where the last byte was there before the source failed (RFC 9112 section 8)."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.rest()

    async with talking(talk) as server:
        upload = pieces(*([b"s" * 60_000] * 5 if sent > 1 else [b"s"] * sent), size=size, fault=SOURCE)
        with pytest.raises(HeadraceError) as caught:
            await collected(client, Request("PUT", server.target(), body=upload, changes=True))
        assert caught.value is SOURCE
        async with asyncio.timeout(5):
            await server.ended.wait()
        body = server.lines[0].body
        assert len(body) < 300_000 or size is None
        assert not body.endswith(b"0\r\n\r\n")


@pytest.mark.parametrize("fault", [OSError("disk"), TimeoutError(), ValueError("mistake")])
async def test_a_source_that_fails_in_its_own_way(client: HttpClient, fault: Exception) -> None:
    """That is not the far server's doing, and no library's error leaves."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.rest()

    async with talking(talk) as server:
        with pytest.raises(HeadraceError) as caught:
            await collected(
                client, Request("PUT", server.target(), body=pieces(b"x", fault=fault), changes=True)
            )
        assert (type(caught.value), caught.value.__cause__) == (HeadraceError, fault)


@pytest.mark.parametrize("said", [5, 7])
async def test_a_source_of_another_size_than_it_said(client: HttpClient, said: int) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.rest()

    async with talking(talk) as server:
        upload = pieces(b"abc", b"def", size=said)
        with pytest.raises(BrokenOff):
            await collected(client, Request("PUT", server.target(), body=upload, changes=True))
        async with asyncio.timeout(5):
            await server.ended.wait()
        assert len(server.lines[0].body) < said


async def test_a_source_that_said_it_had_nothing(client: HttpClient) -> None:
    """The header section would be the whole request, so nothing is sent before it is looked at."""
    async with talking(fine) as server:
        with pytest.raises(BrokenOff):
            upload = pieces(b"something", size=0)
            await collected(client, Request("PUT", server.target(), body=upload, changes=True))
        assert server.lines == []


async def test_a_source_may_be_another_exchange(client: HttpClient) -> None:
    body = bytes(range(256)) * 12_000

    async def give(line: Line) -> None:
        await line.head()
        await line.say(f"HTTP/1.1 200 OK\nContent-Length: {len(body)}\n\n", body)

    async with talking(give) as source, talking(fine) as goal:
        async with client.exchange(Request("GET", source.target()), SECONDS) as reading:
            upload = Upload(lambda: reading.chunks, len(body), repeatable=False)
            await collected(client, Request("PUT", goal.target(), body=upload, changes=True))
        assert goal.lines[0].body == body


# Answers before the end of the body


EARLY = {
    "413 Content Too Large": TooLarge,
    "401 Unauthorized": None,
    "507 Insufficient Storage": MayBeDone,
    "412 Precondition Failed": ChangedMeanwhile,
}


def stalling() -> Upload:
    """One piece, and then nothing for ever."""

    async def chunks() -> AsyncIterator[bytes]:
        yield b"x"
        yield b"y"
        await asyncio.Event().wait()

    return Upload(chunks)


@pytest.mark.parametrize("status", EARLY)
@pytest.mark.parametrize("then", ["close", "keep", "deaf"])
@pytest.mark.parametrize(
    "upload", [endless(1 << 40), endless(None), stalling()], ids=["size known", "chunked", "source stalls"]
)
async def test_an_answer_before_the_body_is_sent(
    client: HttpClient, status: str, then: str, upload: Upload
) -> None:
    """RFC 9112 section 9.3: heard while sending, or while the source is waited for."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 102 Processing\n\n")  # an interim answer is none (RFC 2518 section 10.1)
        await line.reader.read(10)
        await line.say(f"HTTP/1.1 {status}\nContent-Length: 2\n\nno")
        if then == "keep":
            await line.rest()
        elif then == "deaf":
            await asyncio.sleep(10)

    async with talking(talk) as server:
        began = perf_counter()
        request = Request("PUT", server.target(), body=upload, changes=True)
        async with client.exchange(request, SECONDS) as answer:
            assert answer.status == int(status[:3])
            assert answer.fault is not None
            expected = EARLY[status]
            assert expected is None or type(answer.fault) is expected
        assert perf_counter() - began < 5


async def test_a_server_cannot_have_done_what_it_did_not_get(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 201 Created\nContent-Length: 0\n\n")
        await line.rest()

    for changes, kind in ((True, MayBeDone), (False, WrongDocument)):
        async with talking(talk) as server:
            with pytest.raises(HeadraceError) as caught:
                await collected(client, Request("PUT", server.target(), body=endless(None), changes=changes))
            assert type(caught.value) is kind


async def test_a_server_that_leaves_while_the_body_is_sent(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.reader.read(10)
        reset(line.writer)

    for changes, kind in ((True, MayBeDone), (False, BrokenOff)):
        async with talking(talk) as server:
            with pytest.raises(HeadraceError) as caught:
                await collected(client, Request("PUT", server.target(), body=endless(None), changes=changes))
            assert type(caught.value) is kind
