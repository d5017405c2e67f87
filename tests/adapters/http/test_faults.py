"""The table of outcomes that README.md prints: each row is made to happen, for both kinds of calls."""

import ssl
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import httpcore
import pytest
import trustme

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    HeadraceError,
    NotThere,
    TooLarge,
    TooSlow,
    WrongDocument,
    WrongWords,
)
from adapters.http.adapter import HttpAdapter
from adapters.http.faults import OUTCOME_TABLE, OutcomeRow, translated
from adapters.http.link.exchange import Exchange
from adapters.port import Call, Reach
from tests.adapters.contract import tells_nothing_private
from tests.adapters.http.servers import LOOPBACK, Say, free_port, raw_server, reply


def moved(location: str, status: str = "307 Temporary Redirect") -> Say:
    return reply(b"", status, f"Location: {location}")


ANSWERS: dict[str, list[Say]] = {
    "time is up afterwards": [Say(b"", "stall")],
    "connection reset or closed before the whole answer is here": [
        Say(b"HTTP/1.1 2", "close"),
        Say(b"", "reset"),
    ],
    "body shorter than announced, broken chunks, gzip cut short": [
        Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n{}", "close"),
        Say(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", "stall"),
        reply(b"\x1f\x8b\x08", "200 OK", "Content-Encoding: gzip"),
    ],
    "no HTTP answer": [Say(b"220 ready\r\n\r\n", "stall")],
    "content coding that was not asked for": [reply(b"{}", "200 OK", "Content-Encoding: br")],
    "header section, body or expanded body over its limit": [
        reply(b"{}", "200 OK", "X: " + "a" * 99_000),
        reply(bytes(17 << 20)),
    ],
    "redirects in a circle, too many, or to nowhere": [moved("/"), moved("http://["), reply(b"", "308 P")],
    "redirect from https to http, or to another scheme": [moved("ftp://files.example/")],
    "redirect of a body to another origin": [
        moved("http://127.0.0.1:1/"),
        moved("http://127.0.0.1:1/", "308 P"),
    ],
    "301 or 302 for a change; for a file whose name stays: followed": [
        moved("/a", "301 Moved"),
        moved("/a", "302 Found"),
    ],
    "anything that fails after 303 for a change": [
        moved("/", "303 See Other"),
        moved("ftp://x/", "303 See Other"),
    ],
}

ROWS = {row.outcome: row for row in OUTCOME_TABLE}


def test_every_row_is_made_to_happen() -> None:
    assert set(ROWS) == {*ANSWERS, *CONNECTING}
    assert len(ROWS) == len(OUTCOME_TABLE)


async def outcome_of(adapter: HttpAdapter, call: Call, row: OutcomeRow) -> None:
    seconds = 0.5 if row.fault is TooSlow else 20
    for changes in (False, True):
        expected = row.changing_code if changes else row.code
        if expected is None:
            continue
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(replace(call, changes=changes), seconds)
        assert caught.value.code == expected
        tells_nothing_private(caught.value)


@pytest.mark.parametrize("outcome", ANSWERS)
async def test_answers(adapter: HttpAdapter, outcome: str) -> None:
    for answer in ANSWERS[outcome]:
        async with raw_server(answer) as server:
            reach = Reach(named=server.reach.named, allow=(LOOPBACK,))
            call = server.call("/", method="POST", body=b"x", reach=reach)
            await outcome_of(adapter, call, ROWS[outcome])


Place = Callable[[Path], AsyncIterator[Call]]


async def nobody_listens(_: Path) -> AsyncIterator[Call]:
    port = await free_port()
    yield Call(f"http://{LOOPBACK}:{port}/", reach=Reach(named=frozenset({(LOOPBACK, port)})))


async def not_allowed(_: Path) -> AsyncIterator[Call]:
    yield Call("http://10.0.0.1/")


async def unknown_authority(_: Path) -> AsyncIterator[Call]:
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    trustme.CA().issue_cert(LOOPBACK).configure_cert(tls)
    async with raw_server(reply(b"{}"), tls=tls) as server:
        yield server.call(url=f"https://{LOOPBACK}:{server.port}/")


async def no_tls(_: Path) -> AsyncIterator[Call]:
    async with raw_server(Say(b"")) as server:
        server.greeting = b"220 ready\r\n"
        yield server.call(url=f"https://{LOOPBACK}:{server.port}/")


async def never_connected(_: Path) -> AsyncIterator[Call]:
    async with raw_server(Say(b"")) as server:  # a handshake that gets no answer
        yield server.call(url=f"https://{LOOPBACK}:{server.port}/")


CONNECTING: dict[str, Place] = {
    "no such host, no route, connection refused": nobody_listens,
    "an address that is not allowed": not_allowed,
    "certificate expired, for another host, or of an unknown authority": unknown_authority,
    "no TLS, or none newer than 1.1": no_tls,
    "time is up before the request was sent": never_connected,
}


@pytest.mark.parametrize("outcome", CONNECTING)
async def test_connecting(adapter: HttpAdapter, outcome: str, tmp_path: Path) -> None:
    async with asynccontextmanager(CONNECTING[outcome])(tmp_path) as call:
        await outcome_of(adapter, replace(call, method="POST", body=b"x"), ROWS[outcome])


@pytest.mark.parametrize(
    ("error", "exchange", "kind"),
    [
        (httpcore.LocalProtocolError("hush"), Exchange(), WrongWords),
        (httpcore.RemoteProtocolError("hush"), Exchange(), WrongDocument),
        (httpcore.RemoteProtocolError("hush"), Exchange(ended=True), BrokenOff),
        (httpcore.RemoteProtocolError("hush"), Exchange(answered=True), BrokenOff),
        (httpcore.ReadTimeout("hush"), Exchange(), TooSlow),
        (httpcore.PoolTimeout("hush"), Exchange(), TooSlow),
        (httpcore.ConnectError("hush"), Exchange(), CannotConnect),
        (httpcore.ReadError("hush"), Exchange(), BrokenOff),
        (httpcore.WriteError("hush"), Exchange(), BrokenOff),
        (OSError(5, "hush"), Exchange(), BrokenOff),
        (ssl.SSLError(1, "hush"), Exchange(), BrokenOff),
        (httpcore.UnsupportedProtocol("hush"), Exchange(), HeadraceError),
        (ValueError("hush"), Exchange(), HeadraceError),
        (RuntimeError("hush"), Exchange(), HeadraceError),
        (NotThere(), Exchange(), NotThere),
    ],
)
def test_libraries_errors(error: Exception, exchange: Exchange, kind: type[HeadraceError]) -> None:
    found = translated(error, exchange)
    assert type(found) is kind
    tells_nothing_private(found)
    assert "hush" not in found.sentence


def test_a_hint_at_431_is_found_behind_other_errors() -> None:
    class Hint(Exception):
        error_status_hint = 431

    error = httpcore.RemoteProtocolError("x")
    error.__cause__ = Hint()
    assert type(translated(error, Exchange())) is TooLarge
    error.__cause__, error.__context__ = None, Hint()  # as httpcore leaves it
    assert type(translated(error, Exchange())) is TooLarge
