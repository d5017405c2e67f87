"""Answers that begin or end wrongly (RFC 9112 sections 6 to 8), and what is left of them on a connection."""

import asyncio
import json
from pathlib import Path

import pytest

from adapters.errors import BrokenOff, HeadraceError, WrongDocument
from adapters.http.adapter import HttpAdapter
from tests.adapters.http.servers import Say, raw_server, reply

CASES = Path(__file__).parents[2] / "cases"
CUT = CASES / "http-cut-short-bodies"
CUT_EXPECTED = json.loads((CUT / "expected.json").read_text(encoding="utf-8"))
BOM = CASES / "json-bom-wrong-charset-html-type"
GOOD = reply(b'{"good":1}')


@pytest.mark.parametrize(
    "name", [name for name, expected in CUT_EXPECTED.items() if expected == "error: truncated"]
)
async def test_case_cut_short_bodies(adapter: HttpAdapter, name: str) -> None:
    async with raw_server(Say((CUT / name).read_bytes(), "close"), GOOD) as server:
        with pytest.raises(BrokenOff):
            await adapter.fetch(server.call(), 5)
        assert (await adapter.fetch(server.call(), 5)).body == b'{"good":1}'


@pytest.mark.parametrize(
    "name", [name for name, expected in CUT_EXPECTED.items() if expected != "error: truncated"]
)
async def test_case_bodies_that_are_not_cut(adapter: HttpAdapter, name: str) -> None:
    """What follows an answer on its connection never becomes part of another one."""
    then = "close" if name == "close_delimited.http" else "keep"
    async with raw_server(Say((CUT / name).read_bytes(), then), GOOD) as server:
        fetched = await adapter.fetch(server.call(), 5)
        expected = CUT_EXPECTED[name]
        assert fetched.body == (expected["body"].encode() if "body" in expected else b"")
        for _ in range(2):
            assert (await adapter.fetch(server.call(), 5)).body == b'{"good":1}'
        # the spoilt connection is found out on its next use, when the request is sent once more elsewhere
        assert server.connections == (2 if then == "close" else 3)


def test_the_case_is_complete() -> None:
    assert {path.name for path in CUT.glob("*.http")} == set(CUT_EXPECTED)


@pytest.mark.parametrize(("name", "kind"), [("lies.http", "text/html"), ("honest.http", "application/json")])
async def test_case_bom_wrong_charset(adapter: HttpAdapter, name: str, kind: str) -> None:
    """The adapter's part of it: bytes untouched, media type and charset as the server has them."""
    answer = (BOM / name).read_bytes()
    async with raw_server(Say(answer, "close")) as server:
        fetched = await adapter.fetch(server.call(), 5)
    assert fetched.body == answer.partition(b"\r\n\r\n")[2]
    assert (fetched.media_type, fetched.charset) == (kind, "iso-8859-1")
    expected = json.loads((BOM / "expected.json").read_text(encoding="utf-8"))[name]["$.place"]
    text = fetched.body.decode("utf-8-sig" if name == "lies.http" else "iso-8859-1")
    assert json.loads(text)["place"] == expected


@pytest.mark.parametrize(
    "answer",
    [
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nabc",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nabcde\r\n0\r\nX: y",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\nabc\r\n0\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabcXX0\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n-3\r\nabc\r\n0\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n" + b"f" * 60 + b"\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\nabc",
        b"HTTP/1.1 200 OK\r\nContent-Len",
        b"HTTP/1.1 200",
        b"nonsense without an end",
        b"",
    ],
)
async def test_breaks(adapter: HttpAdapter, answer: bytes) -> None:
    for then in ("close", "reset"):
        async with raw_server(Say(answer, then)) as server:
            with pytest.raises(BrokenOff):
                await adapter.fetch(server.call(), 5)
            assert len(server.requests) == 1, "a fresh connection that breaks is no reason to ask again"


@pytest.mark.parametrize(
    "answer",
    [
        b"220 files.example ready\r\n\r\n",
        b"<html>no header at all</html>\r\n\r\n",
        b"HTTP/1.1 XYZ OK\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nno colon\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: x\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: -1\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: " + b"9" * 5000 + b"\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 3\r\nContent-Length: 4\r\n\r\nabcd",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: gzip, chunked\r\n\r\n",
        b"\x16\x03\x01\x00\r\n\r\n",
    ],
)
async def test_what_is_no_http(adapter: HttpAdapter, answer: bytes) -> None:
    async with raw_server(Say(answer, "stall")) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(server.call(), 1)
        assert type(caught.value) is WrongDocument


async def test_a_whole_answer_too_many_is_nobody_s(adapter: HttpAdapter) -> None:
    """RFC 9112 section 9.2: an answer without a request means a broken server; it is not believed."""
    twice = Say(reply(b"first").data + reply(b"unasked").data)
    async with raw_server(twice, reply(b"second"), reply(b"third")) as server:
        bodies = [(await adapter.fetch(server.call(), 5)).body for _ in range(3)]
        assert bodies[0] == b"first"
        assert b"unasked" not in bodies


async def test_an_answer_too_many_that_comes_later(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"first"), reply(b"second")) as server:
        await adapter.fetch(server.call(), 5)
        pool = next(iter(adapter._link.pools._pools.values()))
        stream = pool.connections[0]._connection._network_stream  # type: ignore[attr-defined]
        stream._inbox.data_received(reply(b"unasked").data)
        assert (await adapter.fetch(server.call(), 5)).body == b"second"
        assert server.connections == 2


@pytest.mark.parametrize("then", ["close", "reset"])
async def test_a_kept_connection_that_died_is_replaced(adapter: HttpAdapter, then: str) -> None:
    """RFC 9112 section 9.3.1: the server closes it on the second request instead of answering."""
    dead = Say(b"", then)
    async with raw_server(GOOD, dead, GOOD) as server:
        for _ in range(2):
            assert (await adapter.fetch(server.call(), 5)).body == b'{"good":1}'
        assert len(server.requests) == 3
        assert server.connections == 2
        await asyncio.sleep(0.05)
        assert server.open == 0, "the second connection was for that request alone"


async def test_it_is_replaced_only_once(adapter: HttpAdapter) -> None:
    async with raw_server(GOOD, Say(b"", "close")) as server:
        await adapter.fetch(server.call(), 5)
        with pytest.raises(BrokenOff):
            await adapter.fetch(server.call(), 5)
        assert len(server.requests) == 3


async def test_a_break_inside_a_body_is_not_asked_again(adapter: HttpAdapter) -> None:
    broken = Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "close")
    async with raw_server(GOOD, broken) as server:
        await adapter.fetch(server.call(), 5)
        with pytest.raises(BrokenOff):
            await adapter.fetch(server.call(), 5)
        assert len(server.requests) == 2
