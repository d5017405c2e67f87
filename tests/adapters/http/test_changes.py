"""Calls that change something: sent once, never a 4xx where the server may have acted (contract, 2)."""

import asyncio
from time import perf_counter
from typing import Any

import pytest

from adapters import limits
from adapters.errors import (
    AskedTooOften,
    BrokenOff,
    CannotConnect,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotThere,
    TooSlow,
)
from adapters.http.adapter import HttpAdapter
from adapters.port import Call, Reach
from tests.adapters.http.servers import LOOPBACK, RawServer, Say, free_port, raw_server, reply


def tell(server: RawServer, **changes: Any) -> Call:
    return server.call("/scores", **{"method": "POST", "body": b"points=7", "changes": True, **changes})


async def test_a_change_that_is_made(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"ok", "201 Created")) as server:
        for _ in range(3):
            assert (await adapter.fetch(tell(server), 5)).body == b"ok"
        assert server.requests[0].endswith(b"points=7")
        assert len(server.requests) == 3
        assert server.connections == 3, "each has a connection of its own"
        assert server.field_of("Connection") == "close"


async def test_it_does_not_use_a_kept_connection_that_may_be_dead(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"{}")) as server:
        await adapter.fetch(server.call(), 5)
        await adapter.fetch(tell(server), 5)
        assert server.connections == 2
        await adapter.fetch(server.call(), 5)
        assert server.connections == 2


BREAKS = {
    "closed": Say(b"", "close"),
    "reset": Say(b"", "reset"),
    "half a header": Say(b"HTTP/1.1 200 OK\r\nX", "close"),
    "no http": Say(b"nonsense\r\n\r\n", "stall"),
    "half a body": Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "close"),
    "unknown coding": reply(b"x", "200 OK", "Content-Encoding: br"),
    "too large": reply(bytes(100)),
    "gzip cut short": reply(b"\x1f\x8b\x08", "200 OK", "Content-Encoding: gzip"),
    "500": reply(b"", "500 Internal Server Error"),
    "501": reply(b"", "501 Not Implemented"),
    "502": reply(b"", "502 Bad Gateway"),
    "504": reply(b"", "504 Gateway Timeout"),
    "408": reply(b"", "408 Request Timeout"),
    "300": reply(b"", "300 Multiple Choices"),
    "301": reply(b"", "301 Moved Permanently", "Location: /other"),
    "302": reply(b"", "302 Found", "Location: /other"),
    "302 nowhere": reply(b"", "302 Found"),
    "303 nowhere": reply(b"", "303 See Other"),
    "303 elsewhere": reply(b"", "303 See Other", "Location: ftp://files.example/"),
    "304": Say(b"HTTP/1.1 304 Not Modified\r\n\r\n"),
    "206": reply(b"part", "206 Partial Content"),
}


@pytest.mark.parametrize("answer", BREAKS.values(), ids=list(BREAKS))
async def test_what_may_have_been_done(adapter: HttpAdapter, answer: Say) -> None:
    async with raw_server(answer) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(tell(server, body_limit=50), 5)
        assert type(caught.value) is MayBeDone
        assert len(server.requests) == 1, "never repeated by itself"


@pytest.mark.parametrize(
    "answer", [Say(b"", "stall"), Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n", "stall")]
)
async def test_time_is_up_after_it_was_sent(adapter: HttpAdapter, answer: Say) -> None:
    async with raw_server(answer) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(tell(server), 0.5)
        assert type(caught.value) is MayBeDone


NOT_DONE = {
    "400 Bad Request": 501,
    "401 Unauthorized": 533,
    "403 Forbidden": 532,
    "404 Not Found": 550,
    "405 Method Not Allowed": 502,
    "409 Conflict": 555,
    "412 Precondition Failed": 555,
    "413 Content Too Large": 552,
    "415 Unsupported Media Type": 551,
    "422 Unprocessable Content": 501,
    "423 Locked": 450,
    "429 Too Many Requests": 429,
    "503 Service Unavailable": 450,
}


@pytest.mark.parametrize(("status", "code"), NOT_DONE.items())
async def test_what_the_server_says_it_did_not_do(adapter: HttpAdapter, status: str, code: int) -> None:
    """The body of such an answer does not matter, not even where it never comes."""
    for answer in (
        reply(b"no", status),
        Say(f"HTTP/1.1 {status}\r\nContent-Length: 9\r\n\r\n".encode(), "close"),
    ):
        async with raw_server(answer) as server:
            with pytest.raises(HeadraceError) as caught:
                await adapter.fetch(tell(server), 5)
            assert caught.value.code == code
            assert type(caught.value) is not MayBeDone


async def test_nobody_waits_for_the_words_of_a_refusal(
    adapter: HttpAdapter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its connection is not kept, so there is no reason to read on."""
    monkeypatch.setattr(limits, "DRAIN_SECONDS", 5.0)
    async with raw_server(Say(b"HTTP/1.1 404 Not Found\r\nContent-Length: 9\r\n\r\n", "stall")) as server:
        began = perf_counter()
        with pytest.raises(NotThere):
            await adapter.fetch(tell(server), 5)
        assert perf_counter() - began < 2


async def test_seconds_to_wait(adapter: HttpAdapter) -> None:
    async with raw_server(
        reply(b"", "429 Too Many Requests", "Retry-After: 7"), reply(b"", "503 Busy", "Retry-After: 9")
    ) as server:
        with pytest.raises(AskedTooOften) as often:
            await adapter.fetch(tell(server), 5)
        assert often.value.seconds == 7
        with pytest.raises(FarBusy) as busy:
            await adapter.fetch(tell(server), 5)
        assert busy.value.seconds == 9


async def test_nothing_was_sent() -> None:
    """Failures before the first byte keep their own codes."""

    async def never(host: str, port: int) -> list[str]:
        await asyncio.sleep(60)
        return []

    async def nowhere(host: str, port: int) -> list[str]:
        raise CannotConnect("No such host")

    async def inside(host: str, port: int) -> list[str]:
        return ["10.0.0.1"]

    for resolve, kind in ((never, TooSlow), (nowhere, CannotConnect), (inside, NotAllowed)):
        adapter = HttpAdapter(resolve=resolve)
        with pytest.raises(kind):
            await adapter.fetch(Call("http://site.example/", method="POST", changes=True), 0.1)
        await adapter.aclose()


async def test_nobody_listens(adapter: HttpAdapter) -> None:
    port = await free_port()
    reach = Reach(named=frozenset({(LOOPBACK, port)}))
    with pytest.raises(CannotConnect):
        await adapter.fetch(Call(f"http://{LOOPBACK}:{port}/", method="DELETE", reach=reach, changes=True), 5)


async def test_waiting_for_a_turn_is_before_sending(adapter: HttpAdapter) -> None:
    async with raw_server(Say(b"", "stall")) as server:
        others = [asyncio.create_task(adapter.fetch(server.call(), 5)) for _ in range(50)]
        await asyncio.sleep(0.1)
        with pytest.raises(TooSlow):
            await adapter.fetch(tell(server), 0.1)
        for other in others:
            other.cancel()
        await asyncio.gather(*others, return_exceptions=True)


async def test_its_result_is_fetched_where_the_server_says(adapter: HttpAdapter) -> None:
    """RFC 9110 section 15.4.4."""
    async with raw_server(reply(b"", "303 See Other", "Location: /scores/7"), reply(b"7th")) as server:
        assert (await adapter.fetch(tell(server), 5)).body == b"7th"
        assert server.heads() == ["POST /scores HTTP/1.1", "GET /scores/7 HTTP/1.1"]
        assert b"points" not in server.requests[1]


RESULTS = {
    "not there": reply(b"", "404 Not Found"),
    "busy": reply(b"", "503 Service Unavailable"),
    "often": reply(b"", "429 Too Many Requests"),
    "circle": reply(b"", "302 Found", "Location: /scores/7"),
    "broken": Say(b"", "close"),
}


@pytest.mark.parametrize("answer", RESULTS.values(), ids=list(RESULTS))
async def test_it_was_done_whatever_becomes_of_its_result(adapter: HttpAdapter, answer: Say) -> None:
    async with raw_server(reply(b"", "303 See Other", "Location: /scores/7"), answer) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(tell(server), 5)
        assert type(caught.value) is MayBeDone


@pytest.mark.parametrize("status", ["307 Temporary Redirect", "308 Permanent Redirect"])
async def test_it_is_to_be_made_elsewhere(adapter: HttpAdapter, status: str) -> None:
    """RFC 9110 sections 15.4.8 and 15.4.9: the method and the body stay."""
    async with raw_server(reply(b"", status, "Location: /v2/scores"), reply(b"ok")) as server:
        assert (await adapter.fetch(tell(server), 5)).body == b"ok"
        assert server.heads() == ["POST /scores HTTP/1.1", "POST /v2/scores HTTP/1.1"]
        assert server.requests[1].endswith(b"points=7")
    async with raw_server(reply(b"", status, f"Location: http://{LOOPBACK}:1/scores")) as server:
        with pytest.raises(NotAllowed):
            await adapter.fetch(tell(server, reach=Reach(named=server.reach.named, allow=(LOOPBACK,))), 5)


async def test_elsewhere_it_was_refused_so_nothing_was_done(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"", "307 T", "Location: /v2"), reply(b"", "404 Not Found")) as server:
        with pytest.raises(NotThere):
            await adapter.fetch(tell(server), 5)


async def test_a_call_that_asks_is_told_of_the_same_breaks_as_such(adapter: HttpAdapter) -> None:
    """A control: the right code for what changes nothing."""
    async with raw_server(BREAKS["closed"]) as server:
        with pytest.raises(BrokenOff):
            await adapter.fetch(tell(server, changes=False), 5)
