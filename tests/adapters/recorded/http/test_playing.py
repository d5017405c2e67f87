"""What was recorded live comes again, the same, when no network is there."""

import asyncio
import gzip
import socket
from collections.abc import AsyncIterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from adapters import limits
from adapters.errors import AskedTooOften, FarBusy, HeadraceError, NoRoom, NotRecorded
from adapters.files import Target
from adapters.http.adapter import HttpAdapter
from adapters.port import Call, CredentialKind, Credentials, Fetched, Reach, Validators
from adapters.recorded import copies
from adapters.recorded.exchange import Asked, Content, Exchange, Message
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.recorded.http.playing import PlayingLink
from adapters.recorded.http.recording import RecordingLink
from adapters.redaction import Redactor
from tests.adapters.http.servers import LOOPBACK, RawServer, Say, free_port, raw_server, reply
from tests.adapters.recorded.test_copies import full

SECONDS = 10.0
Result = Fetched | tuple[type[HeadraceError], str, int | None]
JSON = "Content-Type: application/json"
SQUEEZED = gzip.compress(b'{"a": 1}' * 500, mtime=0)


def folder(path: Path, redactor: Redactor | None = None) -> Folder:
    made = Folder(path, Hiding(redactor or Redactor()), lambda: datetime.now(UTC))
    made.load()
    return made


def all_bytes(path: Path) -> bytes:
    return b"".join(each.read_bytes() for each in path.rglob("*") if each.is_file())


async def result(adapter: HttpAdapter, call: Call, seconds: float = SECONDS) -> Result:
    try:
        fetched = await adapter.fetch(call, seconds)
    except HeadraceError as fault:
        wait = fault.seconds if isinstance(fault, AskedTooOften | FarBusy) else None
        return type(fault), fault.sentence, wait
    return replace(fetched, steps=())


async def recorded(path: Path, calls: Sequence[Call]) -> list[Result]:
    adapter = HttpAdapter(link=RecordingLink(folder(path)))
    try:
        return [await result(adapter, call) for call in calls]
    finally:
        await adapter.aclose()


async def played(path: Path, calls: Sequence[Call]) -> list[Result]:
    adapter = HttpAdapter(link=PlayingLink(folder(path), lambda: datetime.now(UTC)))
    try:
        return [await result(adapter, call) for call in calls]
    finally:
        await adapter.aclose()


CHUNKED = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n2\r\nde\r\n0\r\n\r\n"
ANSWERS: dict[str, tuple[list[Say], dict[str, Any]]] = {
    "json": ([reply(b'{"a": 1.10}', "200 OK", JSON)], {}),
    "empty": ([reply(b"")], {}),
    "chunked": ([Say(CHUNKED)], {}),
    "until the end": ([Say(b"HTTP/1.1 200 OK\r\n\r\nall of it", "close")], {}),
    "gzip": ([reply(SQUEEZED, "200 OK", JSON, "Content-Encoding: gzip")], {}),
    "two members": ([reply(SQUEEZED * 2, "200 OK", "Content-Encoding: gzip")], {}),
    "plain, labelled gzip": ([reply(b'{"a": 1}', "200 OK", "Content-Encoding: gzip")], {}),
    "gzip cut short": ([reply(SQUEEZED[:-9], "200 OK", "Content-Encoding: gzip")], {}),
    "gzip broken": (
        [reply(SQUEEZED[:20] + b"\0\0\0" + SQUEEZED[23:], "200 OK", "Content-Encoding: gzip")],
        {},
    ),
    "another coding": ([reply(b"abc", "200 OK", "Content-Encoding: br")], {}),
    "body cut short": ([Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "close")], {}),
    "reset": ([Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "reset")], {}),
    "no HTTP": ([Say(b"220 Hello\r\n", "close")], {}),
    "nothing": ([Say(b"", "close")], {}),
    "not there": ([reply(b"nothing", "404 Not Found")], {}),
    "too often": ([reply(b"", "429 Too Many Requests", "Retry-After: 17")], {}),
    "busy": ([reply(b"", "503 Service Unavailable", "Retry-After: 120")], {}),
    "failing": ([reply(b"oops" * 40_000, "500 Internal Server Error")], {}),
    "failing, and its page never ends": (
        [Say(b"HTTP/1.1 500 No\r\nContent-Length: 99\r\n\r\noops", "stall")],
        {},
    ),
    "not there, and its page is cut": (
        [Say(b"HTTP/1.1 404 No\r\nContent-Length: 99\r\n\r\noops", "close")],
        {},
    ),
    "redirect whose page is cut": (
        [Say(b"HTTP/1.1 302 No\r\nLocation: /b\r\nContent-Length: 99\r\n\r\noops", "close"), reply(b"b")],
        {},
    ),
    "no content": ([Say(b"HTTP/1.1 204 No Content\r\n\r\n")], {}),
    "too large": ([reply(b"x" * 5000)], {"body_limit": 4999}),
    "part": (
        [reply(b"cde", "206 Partial Content", "Content-Range: bytes 2-4/9")],
        {"headers": (("Range", "bytes=2-4"),)},
    ),
    "unchanged": (
        [Say(b'HTTP/1.1 304 Not Modified\r\nETag: "x"\r\n\r\n')],
        {"validators": Validators(etag='"x"')},
    ),
    "posted": (
        [reply(b'{"rank": 2}', "201 Created", JSON)],
        {"method": "POST", "body": b"a=1", "changes": True},
    ),
    "posted, and cut": (
        [Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "close")],
        {"method": "POST", "body": b"a=1", "changes": True},
    ),
    "posted, and no answer": ([Say(b"", "close")], {"method": "POST", "body": b"a=1", "changes": True}),
    "latin-1 in a header": ([Say(b"HTTP/1.1 200 OK\r\nX-Town: M\xf6we\r\nContent-Length: 1\r\n\r\na")], {}),
    "redirect": (
        [reply(b"", "302 Found", "Location: /there"), reply(b"arrived", "200 OK", JSON)],
        {},
    ),
    "cookies that change": (
        [
            *(reply(b"", "302 Found", "Location: /", f"Set-Cookie: sid={each}; Path=/") for each in "abc"),
            reply(b"in", "200 OK"),
        ],
        {},
    ),
    "a status of no class": ([reply(b"no", "999 Denied")], {}),
    "in a circle": ([reply(b"", "302 Found", "Location: /")], {}),
}


@pytest.mark.parametrize("name", ANSWERS)
async def test_the_same_as_live(name: str, tmp_path: Path, no_network_later: "Later") -> None:
    answers, changes = ANSWERS[name]
    async with raw_server(*answers) as server:
        call = server.call(**changes)
        live = await recorded(tmp_path, [call])
    no_network_later()
    assert await played(tmp_path, [call]) == live
    assert await played(tmp_path, [call, call]) == live * 2 or name in CHAINS


CHAINS = ("redirect", "cookies that change")
"""Of these the first hops are recorded once, and the last hop is what comes for ever."""


class Later:
    """Takes the network away when it is called."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self._patch = patch

    def __call__(self) -> None:
        def refuse(*_: object, **__: object) -> None:
            raise AssertionError("the network was asked")

        for owner, name in (
            (socket.socket, "connect"),
            (socket.socket, "connect_ex"),
            (socket, "getaddrinfo"),
            (asyncio.BaseEventLoop, "create_connection"),
            (asyncio.BaseEventLoop, "sock_connect"),
        ):
            self._patch.setattr(owner, name, refuse)


@pytest.fixture
def no_network_later(monkeypatch: pytest.MonkeyPatch) -> Later:
    return Later(monkeypatch)


async def test_no_connection(tmp_path: Path, no_network_later: Later) -> None:
    port = await free_port()
    call = Call(f"http://{LOOPBACK}:{port}/", reach=Reach(frozenset({(LOOPBACK, port)})))
    live = await recorded(tmp_path, [call])
    assert live[0][0].code == 425  # type: ignore[index]
    no_network_later()
    assert await played(tmp_path, [call]) == live


async def test_a_cookie_that_has_expired_since(tmp_path: Path) -> None:
    """What sets it is played long after: the chain goes on as it did."""
    at, url = datetime(2024, 5, 17, 5, 0, tzinfo=UTC), "http://tides.example/"
    cookie = ("Set-Cookie", "seat=1; Expires=Fri, 17 May 2024 05:00:04 GMT")
    made = folder(tmp_path)
    made.add(Exchange(Asked("GET", url), Message(302, (("Location", "/"), cookie)), at))
    again = Asked("GET", url, (("Cookie", "seat=hidden-1"),))
    made.add(Exchange(again, Message(200, content=Content(b"in")), at + timedelta(seconds=1)))
    (fetched,) = await played(tmp_path, [Call(url)])
    assert isinstance(fetched, Fetched), fetched
    assert fetched.body == b"in"


async def test_answers_come_in_order_and_the_last_for_ever(tmp_path: Path) -> None:
    async with raw_server(*(reply(each) for each in (b"1", b"1", b"2"))) as server:
        call = server.call()
        await recorded(tmp_path, [call] * 3)
    bodies = [each.body for each in await played(tmp_path, [call] * 5) if isinstance(each, Fetched)]
    assert bodies == [b"1", b"1", b"2", b"2", b"2"]


async def test_what_was_not_recorded(tmp_path: Path) -> None:
    async with raw_server(reply(b"x")) as server:
        await recorded(tmp_path, [server.call("/tides?station=mole&day=1")])
        call = server.call("/tides?day=2&station=mole")
        same = server.call("/tides?day=1&station=mole")
    adapter = HttpAdapter(link=PlayingLink(folder(tmp_path), lambda: datetime.now(UTC)))
    with pytest.raises(NotRecorded) as caught:
        await adapter.fetch(call, SECONDS)
    assert caught.value.code == 504
    notes = dict(caught.value.notes)
    assert notes["NEAREST"].startswith(f"GET http://{LOOPBACK}:")
    assert "day" in notes["DIFFERS"]
    assert "mole" not in str(caught.value.notes)
    assert isinstance(await result(adapter, same), Fetched)
    await adapter.aclose()


async def test_no_key_is_kept_and_none_is_needed(tmp_path: Path) -> None:
    redactor = Redactor()
    redactor.learn("s3same-open")
    kinds = (CredentialKind.BASIC, CredentialKind.BEARER, CredentialKind.HEADER, CredentialKind.QUERY)
    async with raw_server(reply(b'{"you": "s3same-open"}', "200 OK", "Set-Cookie: sid=tops3cret")) as server:
        calls = [
            server.call("/x", credentials=Credentials(kind, f"X-Key-{kind.value}", "s3same-open"))
            for kind in kinds
        ]
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path, redactor)))
        for call in calls:
            await result(adapter, call)
        await adapter.aclose()
        without = [
            replace(call, credentials=replace(call.credentials, secret="***") if call.credentials else None)
            for call in calls
        ]
    everything = all_bytes(tmp_path)
    assert b"s3same-open" not in everything
    assert b"tops3cret" not in everything
    assert b"hidden-1" in everything
    assert all(isinstance(each, Fetched) for each in await played(tmp_path, without))


async def test_a_fresh_document_is_as_fresh_as_it_was(tmp_path: Path) -> None:
    then = datetime(2024, 5, 17, 5, 0, tzinfo=UTC)
    dates = ("Date: Fri, 17 May 2024 05:00:00 GMT", "Expires: Fri, 17 May 2024 05:10:00 GMT")
    kept = Folder(tmp_path, Hiding(Redactor()), lambda: then)
    live = HttpAdapter(now=lambda: then, link=RecordingLink(kept))
    async with raw_server(reply(b"x", "200 OK", *dates)) as server:
        call = server.call()
        fetched = await live.fetch(call, SECONDS)
    await live.aclose()
    assert fetched.freshness.max_age == 600
    for years in (0, 2):
        now = then + timedelta(days=365 * years)
        adapter = HttpAdapter(now=lambda now=now: now, link=PlayingLink(kept, lambda now=now: now))  # type: ignore[misc]
        assert (await adapter.fetch(call, SECONDS)).freshness == fetched.freshness
        await adapter.aclose()


async def read(
    adapter: HttpAdapter, target: Target, offset: int, count: int | None
) -> tuple[bytes, int | None]:
    async with adapter.read(target, offset, count, SECONDS) as reading:
        return b"".join([chunk async for chunk in reading.chunks]), reading.size


@pytest.fixture
async def document() -> AsyncIterator[RawServer]:
    async with raw_server(reply(bytes(range(200)), "200 OK", "Accept-Ranges: bytes", 'ETag: "v1"')) as server:
        yield server


async def test_a_whole_document_answers_for_its_parts(document: RawServer, tmp_path: Path) -> None:
    call = document.call("/d.bin")
    target = Target(call.url, f"http://{LOOPBACK}:{document.port}/", reach=call.reach)
    live = HttpAdapter(link=RecordingLink(folder(tmp_path)))
    assert await read(live, target, 0, None) == (bytes(range(200)), 200)
    await live.aclose()
    adapter = HttpAdapter(link=PlayingLink(folder(tmp_path), lambda: datetime.now(UTC)))
    for offset, count in ((0, None), (0, 10), (190, 50), (57, 1), (199, None), (200, None), (300, 5)):
        end = None if count is None else offset + count
        assert (await read(adapter, target, offset, count))[0] == bytes(range(200))[offset:end]
    assert (await adapter.stat(target, SECONDS)).size == 200
    unchanged = await adapter.fetch(replace(call, validators=Validators(etag='"v1"')), SECONDS)
    assert unchanged.not_modified
    await adapter.aclose()


async def test_the_first_bytes_of_a_large_document(tmp_path: Path) -> None:
    data = bytes(range(256)) * (limits.CHUNK_BYTES // 64)
    async with raw_server(reply(data)) as server:
        (whole,) = await recorded(tmp_path, [server.call()])
        assert isinstance(whole, Fetched)
        first = replace(server.call(), headers=(("Range", "bytes=3-9"),))
    (part,) = await played(tmp_path, [first])
    assert isinstance(part, Fetched)
    assert (part.status, part.body) == (206, data[3:10])


async def test_the_rest_of_a_document_that_its_reader_left(tmp_path: Path) -> None:
    made = folder(tmp_path)
    message = Message(200, (), Content(b"first"), length=9)
    made.add(Exchange(Asked("GET", "http://tides.example/x"), message, datetime.now(UTC)))
    (outcome,) = await played(tmp_path, [Call("http://tides.example/x")])
    assert outcome[:2] == (NotRecorded, "Offline: the rest was not recorded")  # type: ignore[index]


async def test_no_room_for_what_is_sent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copies, "NamedTemporaryFile", full)
    body = bytes(limits.STAGE_BYTES + 1)
    (outcome,) = await played(tmp_path, [Call("http://tides.example/x", "POST", body=body, changes=True)])
    assert outcome[0] is NoRoom  # type: ignore[index]
