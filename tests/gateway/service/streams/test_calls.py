"""Calls of a gateway's own, against real far servers, without a client."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from types import MappingProxyType

import pytest

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, NotPossible, TooSlow
from adapters.port import Origin
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, Place, protocol
from gateway.service.adapters import Adapters
from gateway.service.streams.calls import Call, Calls
from gateway.session.wishes import Called, CallWish, Heard, SayWish
from tests.gateway.service.streams.far_ends import Serve, board, cut, echo, far_end


@asynccontextmanager
async def calls(*places: Place) -> AsyncIterator[Calls]:
    named = {place.name: place for place in places}
    origins: dict[str, frozenset[Origin]] = {}
    for place in places:
        spoken = protocol(place.base.partition(":")[0])
        origins[spoken] = origins.get(spoken, frozenset()) | {("127.0.0.1", _port(place))}
    catalogue = Catalogue(places=MappingProxyType(named), origins=MappingProxyType(origins))
    adapters = Adapters()
    try:
        yield Calls(lambda: catalogue, adapters)
    finally:
        await adapters.aclose()


def _port(place: Place) -> int:
    return int(place.base.rpartition(":")[2])


@asynccontextmanager
async def called(serve: Serve) -> AsyncIterator[tuple[Calls, Call]]:
    with far_end(serve) as port:
        place = Place("BOARD", f"tcp://127.0.0.1:{port}")
        async with calls(place) as desk:
            granted = await desk.answer(CallWish(Ref(place.base, place), 40), 5)
            assert isinstance(granted, Called)
            assert isinstance(granted.call, Call)
            try:
                yield desk, granted.call
            finally:
                granted.call.drop()
                await asyncio.sleep(0)


async def say(desk: Calls, call: Call, data: bytes, seconds: float = 5) -> Heard:
    heard = await desk.answer(SayWish(call, data), seconds)
    assert isinstance(heard, Heard)
    return heard


async def test_said_and_heard() -> None:
    async with called(board) as (desk, call):
        assert await say(desk, call, b"") == Heard("Grüß Gott\nname: ".encode(), over=False)
        assert await say(desk, call, b"me\n") == Heard(b"you are me\nnext: ", over=False)
        began = asyncio.get_running_loop().time()
        assert await say(desk, call, b"") == Heard(b"", over=False)
        assert asyncio.get_running_loop().time() - began < limits.STREAM_ANSWER_SECONDS + 1
        assert await say(desk, call, b"bye\n") == Heard(b"so long\n", over=True)
        assert call.facts() == [("SENT", "7 bytes"), ("HEARD", "43 bytes")]


async def test_far_text_waits_where_it_is() -> None:
    async def flood(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            writer.write(b"x" * 10_000)
            await writer.drain()

    async with called(flood) as (desk, call):
        for _ in range(3):
            heard = await say(desk, call, b"")
            assert limits.STREAM_TEXT <= len(heard.data) <= limits.STREAM_TEXT + limits.CHUNK_BYTES


async def test_a_far_server_that_takes_nothing() -> None:
    async def deaf(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(60)

    async with called(deaf) as (desk, call):
        with pytest.raises(TooSlow, match="takes no more"):
            await say(desk, call, b"x" * 30_000_000, 1.0)


async def test_a_line_that_broke_is_told_behind_what_was_heard() -> None:
    async def breaks(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"half")
        await writer.drain()
        await reader.read(1)
        cut(writer)

    async with called(breaks) as (desk, call):
        assert (await say(desk, call, b"")).data == b"half"
        with pytest.raises(BrokenOff):
            await say(desk, call, b"x")
        with pytest.raises(BrokenOff):
            await say(desk, call, b"")


async def test_a_call_that_is_not_to_be_had() -> None:
    with far_end(echo) as port:
        pass
    place = Place("GONE", f"tcp://127.0.0.1:{port}")
    web = Place("WEB", f"http://127.0.0.1:{port}")
    async with calls(place, web) as desk:
        with pytest.raises(CannotConnect):
            await desk.answer(CallWish(Ref(place.base, place), 40), 5)
        with pytest.raises(NotPossible, match="not possible there"):
            await desk.answer(CallWish(Ref(web.base, web), 40), 5)


async def test_hanging_up_twice_and_while_something_is_waited_for() -> None:
    async with called(echo) as (desk, call):
        waiting = asyncio.ensure_future(call.hear())
        await asyncio.sleep(0.05)
        waiting.cancel()
        await asyncio.gather(waiting, return_exceptions=True)
        assert await say(desk, call, b"abc") == Heard(b"abc", over=False), "nothing was lost"
        call.leave()
        call.leave()
        call.drop()
        await asyncio.sleep(0.2)
        with pytest.raises(BrokenOff):
            await call.say(b"x")


class Tells:
    """A far end that says these, and then that the line broke."""

    origin = "tcp://far.example:7"
    datagrams = False

    def __init__(self, *pieces: bytes) -> None:
        self.pieces = list(pieces)
        self.aborted = False

    async def receive(self) -> bytes | None:
        if not self.pieces:
            raise BrokenOff
        return self.pieces.pop(0)

    async def send(self, data: bytes) -> None:
        pass

    async def aclose(self) -> None:
        pass

    def abort(self) -> None:
        self.aborted = True


async def test_hanging_up_that_is_cut_short_hangs_up() -> None:
    class Slow(Tells):
        async def receive(self) -> bytes | None:
            with suppress(asyncio.CancelledError):
                await asyncio.sleep(60)
            await asyncio.sleep(0.05)  # which it takes to be called off
            return None

    far = Slow()
    call = Call(far)
    hearing = asyncio.ensure_future(call.hear())
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    closing = asyncio.ensure_future(call.close())
    await asyncio.sleep(0.01)
    closing.cancel()
    await asyncio.gather(closing, hearing, return_exceptions=True)
    assert closing.cancelled()
    assert far.aborted


async def test_what_a_caller_says_while_it_waits_is_kept_up_to_a_limit() -> None:
    pieces = [bytes(limits.CHUNK_BYTES - 1), b"ab", b"not read yet"]
    far = Tells(*pieces)
    call = Call(far)
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.05):
            await call.gone()
    assert far.pieces == [b"not read yet"]
    assert await call.hear() == pieces[0] + b"ab"
    assert await call.hear() == b"not read yet"
    await call.gone()  # the line broke, and that is an end like another
    call.drop()


async def test_a_line_that_breaks_behind_an_answer_is_told_with_the_next() -> None:
    call = Call(Tells(b"the answer"))
    assert await call.exchange(b"", 5) == Heard(b"the answer", over=False)
    with pytest.raises(BrokenOff):
        await call.exchange(b"", 5)
    call.drop()
