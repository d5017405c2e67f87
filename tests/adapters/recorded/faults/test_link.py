"""A fault on cue is what a server that fails in that way gives: both are made to happen, and compared."""

import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpcore
import pytest
import trustme

from adapters.addresses import Guard
from adapters.http.adapter import HttpAdapter
from adapters.http.link.exchange import Exchange
from adapters.http.link.link import Link
from adapters.port import Call, Fetched
from adapters.recorded.faults.link import FaultyLink
from adapters.recorded.faults.plan import FaultPlan, read_plan
from adapters.recorded.http.playing import PlayingLink
from tests.adapters.http.servers import RawServer, Say, free_port, raw_server, reply
from tests.adapters.recorded.exchanges import NOON
from tests.adapters.recorded.http.test_playing import Result, folder, recorded, result

BODY = b'{"lamp": 3}'
HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 11\r\n\r\n"
GOOD = reply(BODY, "200 OK", "Content-Type: application/json")
SECONDS = 0.9

FAILING: dict[str, tuple[str, Say]] = {
    "cut": ('do = "cut"\nbytes = 4', Say(HEAD + BODY[:4], "close")),
    "cut at once": ('do = "cut"', Say(HEAD, "close")),
    "cut at its end": ('do = "cut"\nbytes = 99', Say(HEAD.replace(b"11", b"99") + BODY, "close")),
    "garbled": ('do = "garbled"\nbytes = 4', Say(HEAD + b'{"la???????')),
    "malformed": ('do = "malformed"', Say(b"220 Hello\r\n\r\n")),
    "reset": ('do = "reset"', Say(b"", "reset")),
    "slow": ('do = "slow"\nseconds = 9', Say(b"", "stall")),
    "500": ("status = 500", reply(b"", "500 Internal Server Error")),
    "429": ("status = 429", reply(b"", "429 Too Many Requests")),
    "429 and seconds": ("status = 429\nseconds = 17", reply(b"", "429 No", "Retry-After: 17")),
    "503 and seconds": ("status = 503\nseconds = 120", reply(b"", "503 No", "Retry-After: 120")),
    "404": ("status = 404", reply(b"", "404 Not Found")),
    "403": ("status = 403", reply(b"", "403 Forbidden")),
}
ASKING: dict[str, Any] = {}
CHANGING: dict[str, Any] = {"method": "POST", "body": b"x", "changes": True}


def planned(*tables: str) -> FaultPlan:
    return read_plan("\n".join(f'[[fault]]\nurl = "*"\n{table}' for table in tables))


@asynccontextmanager
async def faulty(site: Path, plan: FaultPlan) -> AsyncIterator[HttpAdapter]:
    adapter = HttpAdapter(link=FaultyLink(PlayingLink(folder(site), lambda: NOON), plan))
    try:
        yield adapter
    finally:
        await adapter.aclose()


async def once(adapter: HttpAdapter, call: Call) -> Result:
    return await result(adapter, call, SECONDS)


@pytest.mark.parametrize("how", [ASKING, CHANGING], ids=["asking", "changing"])
@pytest.mark.parametrize("name", FAILING)
async def test_as_a_server_that_fails_so(name: str, how: dict[str, Any], tmp_path: Path) -> None:
    table, answer = FAILING[name]
    async with raw_server(GOOD) as server:
        call = server.call(**how)
        good = (await recorded(tmp_path, [call]))[0]
        server.answers = [answer]
        live = HttpAdapter()
        failed = await once(live, call)
        await live.aclose()
    assert failed != good
    async with faulty(tmp_path, planned(f"{table}\ntimes = 1")) as adapter:
        assert await once(adapter, call) == failed
        assert await once(adapter, call) == good  # and the next one is well again


@pytest.mark.parametrize("how", [ASKING, CHANGING], ids=["asking", "changing"])
async def test_refused(how: dict[str, Any], tmp_path: Path) -> None:
    port = await free_port()
    server = RawServer([], port=port)
    live = HttpAdapter()
    refused = await once(live, server.call(**how))
    await live.aclose()
    async with faulty(tmp_path, planned('do = "refused"')) as adapter:
        assert await once(adapter, server.call(**how)) == refused


@pytest.fixture
def expired(tmp_path: Path) -> Callable[[], tuple[ssl.SSLContext, str]]:
    def make() -> tuple[ssl.SSLContext, str]:
        authority, now = trustme.CA(), datetime.now(UTC)
        made = authority.issue_cert(
            "127.0.0.1", not_before=now - timedelta(days=9), not_after=now - timedelta(days=1)
        )
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        made.configure_cert(context)
        path = tmp_path / "ca.pem"
        authority.cert_pem.write_to_path(path)
        return context, str(path)

    return make


async def test_an_expired_certificate(
    expired: Callable[[], tuple[ssl.SSLContext, str]], tmp_path: Path
) -> None:
    context, ca = expired()
    async with raw_server(GOOD, tls=context) as server:
        call = server.call(ca=ca)
        call = replace(call, url=call.url.replace("http:", "https:"))
        live = HttpAdapter()
        untrusted = await result(live, call)
        await live.aclose()
    async with faulty(tmp_path / "site", planned('do = "certificate-expired"')) as adapter:
        assert await once(adapter, call) == untrusted
    assert untrusted[0].code == 554  # type: ignore[index]


async def test_slow_but_in_time(tmp_path: Path) -> None:
    async with raw_server(GOOD) as server:
        call = server.call()
        good = (await recorded(tmp_path, [call]))[0]
    async with faulty(tmp_path, planned('do = "slow"\nseconds = 0.05')) as adapter:
        assert await once(adapter, call) == good
    assert isinstance(good, Fetched)


async def test_a_live_answer_is_damaged_and_closed(tmp_path: Path) -> None:
    """httpcore closes the stream that it finds in its answer: the damaged one, which closes the live one."""
    async with raw_server(GOOD) as server:
        link = FaultyLink(Link(), planned('do = "garbled"\nbytes = 4'))
        adapter = HttpAdapter(link=link)
        for _ in range(2):
            fetched = await once(adapter, server.call())
            assert isinstance(fetched, Fetched)
            assert fetched.body == BODY[:4] + b"???????"
        await adapter.aclose()
        assert server.connections == 1  # it went back to the pool


class InMemory(Link):
    """Answers whose body has nothing to close."""

    @asynccontextmanager
    async def answer(self, *_: Any, **__: Any) -> AsyncIterator[httpcore.Response]:
        yield httpcore.Response(200, content=BODY)


async def test_an_answer_that_has_nothing_to_close_and_one_that_is_none() -> None:
    request = httpcore.Request("GET", "http://tides.example/")
    link = FaultyLink(InMemory(), planned('do = "garbled"\nbytes = 4\ntimes = 1', "status = 503"))
    async with link.answer(request, Exchange(), Guard(), None, alone=False) as response:
        assert await response.aread() == BODY[:4] + b"???????"
        await response.aclose()
    exchange = Exchange()
    async with link.answer(request, exchange, Guard(), None, alone=False) as response:
        assert (response.status, exchange.status, exchange.answered) == (503, 503, True)
    await link.aclose()
