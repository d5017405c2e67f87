"""The pieces of a request's body: the last one is held back until the source has ended well."""

import asyncio
from collections.abc import AsyncIterator
from ipaddress import ip_address

import httpcore
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import BrokenOff, HeadraceError, NotThere
from adapters.files import Upload
from adapters.http.link.exchange import CURRENT, Exchange
from adapters.http.link.sending import Sending
from adapters.http.link.streams import open_stream
from tests.adapters.http.servers import LOOPBACK
from tests.adapters.http.talks import Line, pieces, talking


async def all_of(sending: Sending) -> list[bytes]:
    return [piece async for piece in sending]


async def test_pieces_go_as_they_are_and_empty_ones_do_not() -> None:
    sending = Sending(pieces(b"ab", b"", b"c", size=3), Exchange())
    assert await all_of(sending) == [b"ab", b"c"]
    assert sending.complete


@given(parts=st.lists(st.binary(max_size=5), max_size=6), said=st.none() | st.integers(0, 30))
async def test_a_whole_body_goes_only_from_a_source_as_large_as_it_said(
    parts: list[bytes], said: int | None
) -> None:
    sending = Sending(pieces(*parts, size=said), Exchange())
    size = sum(map(len, parts))
    gone = 0
    begun = False
    try:
        await sending.prepare()
        begun = True  # with the header section, which is all of a request without a body
        async for piece in sending:
            gone += len(piece)
    except BrokenOff as fault:
        assert fault is sending.fault
        assert said is not None
        assert said != size
        assert gone < said or (said == 0 and not begun)
        assert not sending.complete
    else:
        assert said in (None, size)
        assert gone == size
        assert sending.complete


@pytest.mark.parametrize("count", range(4))
async def test_a_source_that_fails_leaves_the_last_piece_unsent(count: int) -> None:
    fault = NotThere()
    sending = Sending(pieces(*([b"x"] * count), size=count, fault=fault), Exchange())
    gone = []
    with pytest.raises(HeadraceError) as caught:
        async for piece in sending:
            gone.append(piece)  # noqa: PERF401 - it fails on the way
    assert caught.value is fault is sending.fault
    assert len(gone) == max(0, count - 1)
    assert not sending.complete


async def test_the_source_does_not_see_this_exchange_as_its_own() -> None:
    """It may make exchanges itself, whose facts are others."""
    seen = []

    async def chunks() -> AsyncIterator[bytes]:
        seen.append(CURRENT.get())
        yield b"x"

    exchange = Exchange()
    token = CURRENT.set(exchange)
    try:
        assert await all_of(Sending(Upload(chunks), exchange)) == [b"x"]
        assert CURRENT.get() is exchange
    finally:
        CURRENT.reset(token)
    assert seen == [None]


async def test_the_source_is_closed_when_sending_ends_early() -> None:
    closed = []

    async def chunks() -> AsyncIterator[bytes]:
        try:
            while True:
                yield b"x"
        finally:
            closed.append(True)

    going = aiter(Sending(Upload(chunks), Exchange()))
    await anext(going)
    await going.aclose()  # type: ignore[attr-defined]
    assert closed == [True]


async def test_an_answer_that_is_there_already_ends_it_before_the_source_is_asked() -> None:
    """A stream that was answered between two pieces."""
    asked = []

    async def chunks() -> AsyncIterator[bytes]:
        for piece in (b"a", b"b", b"c"):
            asked.append(piece)
            yield piece
        await asyncio.Event().wait()

    async def talk(line: Line) -> None:
        await line.say("HTTP/1.1 413 Content Too Large\n")
        await line.rest()

    async with talking(talk) as server, asyncio.timeout(5):
        stream = await open_stream(ip_address(LOOPBACK), server.port)
        sending = Sending(Upload(chunks), Exchange(stream=stream))
        going = aiter(sending)
        assert await anext(going) == b"a"
        while not stream.answered:  # noqa: ASYNC110 - nothing tells
            await asyncio.sleep(0.01)
        with pytest.raises(httpcore.WriteError):
            await anext(going)
        await stream.aclose()
    assert asked == [b"a", b"b"]
    assert not sending.complete
