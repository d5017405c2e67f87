"""The HTTP adapter against servers on loopback: the contract of all adapters, and what is HTTP's own."""

import asyncio
import gzip
import itertools
import json
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime
from time import perf_counter

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from adapters import limits
from adapters.errors import (
    AskedTooOften,
    BrokenOff,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    NotThere,
    TooLarge,
    TooSlow,
    WrongDocument,
    WrongWords,
)
from adapters.http.adapter import HttpAdapter
from adapters.port import Call, CredentialKind, Credentials, Freshness, Reach, Validators
from tests.adapters.contract import HUSH, AdapterContract, Stand
from tests.adapters.http.servers import LOOPBACK, RawServer, Say, free_port, raw_server, reply


class HttpStand(Stand):
    """Raw servers, one for each kind of answer, and one that answers each path with its own document."""

    def __init__(self, adapter: HttpAdapter, servers: dict[str, RawServer], port: int) -> None:
        self.adapter = adapter
        self.servers = servers
        self.port = port
        self.documents = itertools.count()

    def _call(self, name: str) -> Call:
        return self.servers[name].call(f"/{HUSH}?key={HUSH}", headers=(("X-Key", HUSH),))

    async def document(self, body: bytes) -> Call:
        number = next(self.documents)
        self.servers["documents"].paths[f"/{number}"] = reply(body)
        return self.servers["documents"].call(f"/{number}?key={HUSH}", headers=(("X-Key", HUSH),))

    async def absent(self) -> Call:
        return self._call("absent")

    async def stalled(self) -> Call:
        return self._call("stalled")

    async def cut_short(self) -> Call:
        return self._call("cut")

    async def nobody(self) -> Call:
        reach = Reach(named=frozenset({(LOOPBACK, self.port)}))
        return Call(url=f"http://{LOOPBACK}:{self.port}/{HUSH}?key={HUSH}", reach=reach)

    def contacts(self) -> int:
        return self.servers["documents"].connections


class TestHttp(AdapterContract):
    @pytest.fixture
    async def stand(self, adapter: HttpAdapter) -> AsyncIterator[Stand]:
        head = b"HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\nabc"
        async with (
            raw_server(reply()) as documents,
            raw_server(reply(b"gone", "404 Not Found")) as absent,
            raw_server(Say(head, "stall")) as stalled,
            raw_server(Say(head, "close")) as cut,
        ):
            servers = {"documents": documents, "absent": absent, "stalled": stalled, "cut": cut}
            yield HttpStand(adapter, servers, await free_port())


def named(server: HTTPServer, path: str = "/", **changes: object) -> Call:
    reach = Reach(named=frozenset({(server.host, server.port)}))
    return replace(Call(url=server.url_for(path), reach=reach), **changes)  # type: ignore[arg-type]


async def test_an_ordinary_document(adapter: HttpAdapter, httpserver: HTTPServer) -> None:
    document = {"town": "Example Harbour"}
    httpserver.expect_ordered_request("/tides", query_string="day=1").respond_with_json(
        document,
        headers={
            "Cache-Control": "max-age=60",
            "ETag": '"v1"',
            "Last-Modified": "Sun, 06 Nov 1994 08:49:37 GMT",
        },
    )
    fetched = await adapter.fetch(named(httpserver, "/tides?day=1#top"), 5)
    assert json.loads(fetched.body) == document
    assert (fetched.status, fetched.media_type) == (200, "application/json")
    assert fetched.validators == Validators('"v1"', "Sun, 06 Nov 1994 08:49:37 GMT")
    assert fetched.freshness == Freshness(max_age=60)
    assert fetched.origin == f"http://{httpserver.host}:{httpserver.port}"


async def test_what_the_server_is_told(adapter: HttpAdapter, httpserver: HTTPServer) -> None:
    seen: list[Request] = []

    def note(request: Request) -> Response:
        seen.append(request)
        return Response("{}", content_type="application/json")

    httpserver.expect_request("/scores").respond_with_handler(note)
    call = named(
        httpserver,
        "/scores",
        method="PUT",
        body=b'{"points":7}',
        media_type="application/json",
        accept="application/json",
        headers=(("X-Club", "harbour"),),
        credentials=Credentials(CredentialKind.BASIC, "reader", "s3cret"),
    )
    await adapter.fetch(call, 5)
    (request,) = seen
    assert (request.method, request.data, request.content_type) == (
        "PUT",
        b'{"points":7}',
        "application/json",
    )
    assert request.authorization is not None
    assert (request.authorization.username, request.authorization.password) == ("reader", "s3cret")
    assert request.headers["X-Club"] == "harbour"
    assert request.headers["Accept-Encoding"] == "gzip"
    assert request.headers["Host"] == f"{httpserver.host}:{httpserver.port}"


async def test_gzip_is_expanded(adapter: HttpAdapter) -> None:
    text = b'{"n":1}' * 1000
    for body in (gzip.compress(text), gzip.compress(text[:70]) + gzip.compress(text[70:]), text):
        async with raw_server(reply(body, "200 OK", "Content-Encoding: x-GZIP")) as server:
            assert (await adapter.fetch(server.call(), 5)).body == text


async def test_gzip_cut_short_inside_good_framing(adapter: HttpAdapter) -> None:
    async with raw_server(
        reply(gzip.compress(b"{}" * 500)[:-4], "200 OK", "Content-Encoding: gzip")
    ) as server:
        with pytest.raises(BrokenOff):
            await adapter.fetch(server.call(), 5)


@pytest.mark.parametrize("coding", ["br", "deflate", "zstd", "gzip, br"])
async def test_other_codings(adapter: HttpAdapter, coding: str) -> None:
    async with raw_server(reply(b"{}", "200 OK", f"Content-Encoding: {coding}")) as server:
        with pytest.raises(WrongDocument):
            await adapter.fetch(server.call(), 5)


async def test_an_announced_size_is_refused_before_it_comes(adapter: HttpAdapter) -> None:
    async with raw_server(Say(b"HTTP/1.1 200 OK\r\nContent-Length: 99999999999\r\n\r\n", "stall")) as server:
        began = perf_counter()
        with pytest.raises(TooLarge):
            await adapter.fetch(server.call(), 5)
        assert perf_counter() - began < 1


async def test_an_endless_body_ends_at_the_limit(adapter: HttpAdapter) -> None:
    head = b"HTTP/1.1 200 OK\r\n\r\n"
    async with raw_server(Say(head + bytes(1 << 20), "stall")) as server:
        with pytest.raises(TooLarge):
            await adapter.fetch(server.call(body_limit=100_000), 5)


async def test_an_expanded_limit(adapter: HttpAdapter) -> None:
    bomb = gzip.compress(bytes(limits.EXPANDED_BYTES + 1), 9)
    async with raw_server(reply(bomb, "200 OK", "Content-Encoding: gzip")) as server:
        with pytest.raises(TooLarge):
            await adapter.fetch(server.call(), 5)


@pytest.mark.parametrize("status", ["204 No Content", "205 Reset Content"])
async def test_answers_without_a_document(adapter: HttpAdapter, status: str) -> None:
    async with raw_server(
        Say(f"HTTP/1.1 {status}\r\nContent-Encoding: gzip\r\nContent-Length: 0\r\n\r\n".encode())
    ) as server:
        fetched = await adapter.fetch(server.call(), 5)
        assert (fetched.body, fetched.status) == (b"", int(status[:3]))


async def test_head_has_no_body_whatever_it_announces(adapter: HttpAdapter) -> None:
    """RFC 9110 section 9.3.2: the fields are those of GET."""
    head = b"HTTP/1.1 200 OK\r\nContent-Length: 99999999999\r\nContent-Encoding: br\r\n\r\n"
    async with raw_server(Say(head)) as server:
        assert (await adapter.fetch(server.call(method="HEAD"), 0.5)).body == b""


async def test_the_kept_copy_is_still_good(adapter: HttpAdapter) -> None:
    """RFC 9110 section 13.1, RFC 9111 section 4.3.3: fields of a 304 refresh what is kept."""
    answer = Say(b'HTTP/1.1 304 Not Modified\r\nETag: "v2"\r\nCache-Control: max-age=9\r\n\r\n')
    async with raw_server(answer) as server:
        validators = Validators('"v1"', "Sun, 06 Nov 1994 08:49:37 GMT")
        for _ in range(2):
            fetched = await adapter.fetch(server.call(validators=validators), 5)
            assert fetched.not_modified
            assert (fetched.body, fetched.validators.etag, fetched.freshness.max_age) == (b"", '"v2"', 9)
        assert server.field_of("If-None-Match") == '"v1"'
        assert server.field_of("If-Modified-Since") == "Sun, 06 Nov 1994 08:49:37 GMT"
        assert server.connections == 1
        with pytest.raises(WrongDocument):
            await adapter.fetch(server.call(), 5)


async def test_a_part_nobody_asked_for(adapter: HttpAdapter) -> None:
    """RFC 9110 section 15.3.7."""
    async with raw_server(reply(b"part", "206 Partial Content", "Content-Range: bytes 0-3/9")) as server:
        with pytest.raises(WrongDocument):
            await adapter.fetch(server.call(), 5)
        fetched = await adapter.fetch(server.call(headers=(("Range", "bytes=0-3"),)), 5)
        assert (fetched.body, fetched.freshness.no_store) == (b"part", True)


async def test_validators_that_could_not_be_sent_back_are_not_kept(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"{}", "200 OK", 'ETag: "\x01"', "Last-Modified:")) as server:
        assert (await adapter.fetch(server.call(), 5)).validators == Validators()


@pytest.mark.parametrize(
    ("status", "fields", "kind", "seconds"),
    [
        ("429 Too Many Requests", ("Retry-After: 7",), AskedTooOften, 7),
        ("429 Too Many Requests", (), AskedTooOften, limits.RETRY_DEFAULT_SECONDS),
        ("503 Service Unavailable", ("Retry-After: Wed, 21 Oct 2015 07:30:00 GMT",), FarBusy, 120),
        ("500 Internal Server Error", (), FarBusy, None),
    ],
)
async def test_seconds_to_wait(
    status: str, fields: tuple[str, ...], kind: type[AskedTooOften | FarBusy], seconds: int | None
) -> None:
    adapter = HttpAdapter(now=lambda: datetime(2015, 10, 21, 7, 28, tzinfo=UTC))
    async with raw_server(reply(b"wait", status, *fields)) as server:
        with pytest.raises(kind) as caught:
            await adapter.fetch(server.call(), 5)
        assert caught.value.seconds == seconds
    await adapter.aclose()


async def test_refused_with_and_without_credentials(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"", "403 Forbidden")) as server:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(server.call(), 5)
        assert caught.value.code == 532
        with pytest.raises(CredentialsRefused):
            await adapter.fetch(server.call(credentials=Credentials(CredentialKind.BEARER, "", "x")), 5)


async def test_a_connection_is_kept_after_an_error_with_a_small_body(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"not here", "404 Not Found"), reply(b"{}")) as server:
        with pytest.raises(NotThere):
            await adapter.fetch(server.call(), 5)
        await adapter.fetch(server.call(), 5)
        assert server.connections == 1


@pytest.mark.parametrize(
    "answer",
    [
        Say(b"HTTP/1.1 404 Not Found\r\nContent-Length: 5\r\n\r\n", "stall"),
        Say(b"HTTP/1.1 404 Not Found\r\n\r\n" + bytes(1 << 20), "stall"),
        Say(b"HTTP/1.1 404 Not Found\r\nContent-Length: 5\r\n\r\n", "close"),
        Say(b"HTTP/1.1 404 Not Found\r\nTransfer-Encoding: chunked\r\n\r\nxyz\r\n", "stall"),
    ],
    ids=["stalled", "endless", "cut", "broken"],
)
async def test_the_body_of_an_error_never_hides_the_error(adapter: HttpAdapter, answer: Say) -> None:
    async with raw_server(answer) as server:
        began = perf_counter()
        with pytest.raises(NotThere):
            await adapter.fetch(server.call(), 5)
        assert perf_counter() - began < 1


@pytest.mark.parametrize(
    "answer",
    [
        Say(b"", "stall"),
        Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9", "stall"),
        Say(b"HTTP/1.1 200 OK\r\nContent-Length: 200\r\n\r\n" + bytes(200), drip=0.02),
        Say(b"HTTP/1.1 100 Continue\r\n\r\n" * 200, drip=0.005),
    ],
    ids=["silence", "half a header", "drip", "nothing but preliminaries"],
)
async def test_a_deadline_is_over_everything(adapter: HttpAdapter, answer: Say) -> None:
    async with raw_server(answer) as server:
        began = perf_counter()
        with pytest.raises(TooSlow):
            await adapter.fetch(server.call(), 0.2)
        assert 0.15 < perf_counter() - began < 2


async def test_a_deadline_is_over_a_look_up() -> None:
    async def never(host: str, port: int) -> list[str]:
        await asyncio.sleep(60)
        return []

    adapter = HttpAdapter(resolve=never)
    with pytest.raises(TooSlow):
        await adapter.fetch(Call("http://site.example/"), 0.1)
    await adapter.aclose()


async def test_a_deadline_is_over_waiting_for_a_turn(adapter: HttpAdapter) -> None:
    """More askers than turns, at a server that answers none: all are told in time."""
    async with raw_server(Say(b"", "stall")) as server:
        calls = [adapter.fetch(server.call(), 0.3) for _ in range(limits.CALLS_PER_ORIGIN * 4)]
        began = perf_counter()
        outcomes = await asyncio.gather(*calls, return_exceptions=True)
        assert perf_counter() - began < 2
        assert {type(outcome) for outcome in outcomes} == {TooSlow}
        assert server.most_at_once == limits.CALLS_PER_ORIGIN


async def test_a_crowd_shares_few_connections(adapter: HttpAdapter) -> None:
    async with raw_server(replace(reply(b"{}"), delay=0.002)) as server:
        fetched = await asyncio.gather(*(adapter.fetch(server.call(), 5) for _ in range(200)))
        assert len(fetched) == 200
        assert server.most_at_once <= limits.CALLS_PER_ORIGIN
        assert server.connections <= 2 * limits.CALLS_PER_ORIGIN


async def test_closing_breaks_off_what_is_under_way(adapter: HttpAdapter) -> None:
    async with raw_server(Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n", "stall")) as server:
        fetch = asyncio.create_task(adapter.fetch(server.call(), 20))
        await asyncio.sleep(0.2)
        await adapter.aclose()
        with pytest.raises(BrokenOff):
            await fetch


async def test_the_environment_has_no_say(adapter: HttpAdapter, monkeypatch: pytest.MonkeyPatch) -> None:
    """No proxy, no stored login: where a call goes, the catalogue says."""
    for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"):
        monkeypatch.setenv(name, f"http://{LOOPBACK}:1")
    async with raw_server(reply(b"{}")) as server:
        assert (await adapter.fetch(server.call(), 5)).body == b"{}"


async def test_interim_answers_are_passed_over(adapter: HttpAdapter) -> None:
    """RFC 9110 section 15.2."""
    early = b"HTTP/1.1 103 Early Hints\r\nLink: </x>\r\n\r\n"
    async with raw_server(Say(early + reply(b"{}").data)) as server:
        assert (await adapter.fetch(server.call(), 5)).body == b"{}"


async def test_interim_answers_have_a_limit(adapter: HttpAdapter) -> None:
    """Each is short; a server that sends them without end is not listened to for all of the time there is."""
    early = b"HTTP/1.1 103 Early Hints\r\nLink: </x>\r\n\r\n"
    async with raw_server(Say(early * (2 * limits.INTERIM_BYTES // len(early)), "stall")) as server:
        with pytest.raises(TooLarge):
            await adapter.fetch(server.call(), 5)


async def test_another_major_version(adapter: HttpAdapter) -> None:
    """RFC 9112 section 2.3: what its messages look like is not known."""
    async with raw_server(Say(reply(b"{}").data.replace(b"HTTP/1.1", b"HTTP/2.0"), "stall")) as server:
        with pytest.raises(WrongDocument):
            await adapter.fetch(server.call(), 5)


async def test_an_upgrade_nobody_asked_for(adapter: HttpAdapter) -> None:
    async with raw_server(Say(b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: x\r\n\r\n", "stall")) as server:
        with pytest.raises(WrongDocument):
            await adapter.fetch(server.call(), 0.5)


async def test_http_1_0(adapter: HttpAdapter) -> None:
    async with raw_server(
        Say(b"HTTP/1.0 200 OK\r\nContent-Type: text/csv\r\n\r\na,b\r\n", "close")
    ) as server:
        for _ in range(2):
            assert (await adapter.fetch(server.call(), 5)).body == b"a,b\r\n"


@pytest.mark.parametrize("size", [limits.HEADER_BYTES + 1, 90_000, 300_000])
async def test_a_header_section_has_a_limit(adapter: HttpAdapter, size: int) -> None:
    async with raw_server(reply(b"{}", "200 OK", "X: " + "a" * size)) as server:
        with pytest.raises(TooLarge):
            await adapter.fetch(server.call(), 5)


async def test_nothing_is_sent_where_a_call_is_wrong(adapter: HttpAdapter) -> None:
    async with raw_server(reply(b"{}")) as server:
        for call in (
            server.call(headers=(("X", "a\r\nY: b"),)),
            server.call("/\r\nX: y"),
            server.call(method="GET /x"),
            server.call(accept="a\nb"),
        ):
            with pytest.raises(WrongWords):
                await adapter.fetch(call, 5)
        assert server.connections == 0


async def test_no_secret_in_any_text_of_an_error(adapter: HttpAdapter) -> None:
    """Not in the sentence, and not in the words of the causes either, which logs may print."""
    async with raw_server(Say(b"\x00\x01 nonsense\r\n\r\n", "close")) as server:
        for kind in CredentialKind:
            with pytest.raises(HeadraceError) as caught:
                await adapter.fetch(server.call("/?q=1", credentials=Credentials(kind, "X-Key", HUSH)), 5)
            seen: BaseException | None = caught.value
            while seen is not None:
                assert HUSH not in f"{seen} {seen!r}"
                seen = seen.__cause__ or seen.__context__
