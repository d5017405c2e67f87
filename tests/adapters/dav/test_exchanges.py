"""Single exchanges: what is asked and how (RFC 4918 sections 9.1 and 10.2), redirects that keep it, and what
answers mean.
"""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from lxml import etree

from adapters import limits
from adapters.dav.exchanges import Exchanges, Operation, plain_fault
from adapters.dav.listing import Told
from adapters.dav.places import dav_url, placed
from adapters.errors import (
    AskedTooOften,
    BrokenOff,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NoRoom,
    NotAllowed,
    NotPossible,
    NotThere,
    TooSlow,
    WrongDocument,
)
from adapters.files import Entry, Kind, Target
from adapters.http.client import HttpClient
from adapters.port import CredentialKind, Credentials
from tests.adapters.http.servers import LOOPBACK, RawServer, Say, raw_server, reply

SECONDS = 20.0
EMPTY = (
    b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>/f/</D:href><D:propstat><D:prop>'
    b"<D:resourcetype><D:collection/></D:resourcetype></D:prop></D:propstat></D:response></D:multistatus>"
)
MULTISTATUS = "207 Multi-Status"


@pytest.fixture
async def exchanges() -> AsyncIterator[Exchanges]:
    client = HttpClient(spelled=dav_url)
    yield Exchanges(client, lambda: datetime.now(UTC))
    await client.aclose()


def target(server: RawServer, path: str = "/f/", credentials: Credentials | None = None) -> Target:
    root = f"dav://{LOOPBACK}:{server.port}"
    return placed(Target(root + path, root + "/", credentials, reach=server.reach)).target


async def test_what_is_asked(exchanges: Exchanges) -> None:
    async with raw_server(reply(EMPTY, MULTISTATUS)) as server:
        found = await exchanges.list(target(server), Operation(SECONDS))
        await exchanges.stat(target(server), Operation(SECONDS))
    assert found.told == Told((), partial=False)
    assert server.heads() == ["PROPFIND /f/ HTTP/1.1"] * 2
    assert [server.field_of("Depth", number) for number in (0, 1)] == ["1", "0"]
    assert server.field_of("Content-Type") == "application/xml; charset=utf-8"  # lighttpd insists on it
    root = etree.fromstring(server.requests[0].partition(b"\r\n\r\n")[2])
    assert root.tag == "{DAV:}propfind"
    names = ("resourcetype", "getcontentlength", "getlastmodified", "getetag", "getcontenttype")
    assert [each.tag for each in root.iterfind("{DAV:}prop/*")] == ["{DAV:}" + name for name in names]


@pytest.mark.parametrize("status", ["301 x", "302 x", "307 x", "308 x"])
async def test_redirects_keep_method_depth_and_body(exchanges: Exchanges, status: str) -> None:
    moved = reply(b"", status, "Location: /elsewhere/")
    answer = EMPTY.replace(b"/f/", b"/elsewhere/")
    async with raw_server(moved, reply(answer, MULTISTATUS)) as server:
        found = await exchanges.list(target(server), Operation(SECONDS))
        assert found.url == f"http://{LOOPBACK}:{server.port}/elsewhere/"
    assert server.heads() == ["PROPFIND /f/ HTTP/1.1", "PROPFIND /elsewhere/ HTTP/1.1"]
    assert server.field_of("Depth") == "1"
    bodies = [each.partition(b"\r\n\r\n")[2] for each in server.requests]
    assert bodies[0] == bodies[1]


@pytest.mark.parametrize("status", ["307 x", "308 x"])
async def test_redirects_keep_what_a_change_says(exchanges: Exchanges, status: str) -> None:
    moved = reply(b"", status, "Location: /elsewhere/a")
    headers = ("Destination", "http://h.example/b"), ("Overwrite", "F")
    async with raw_server(moved, reply(b"", "201 x")) as server:
        outcome = await exchanges.send(
            "MOVE", target(server, "/a"), Operation(SECONDS), headers, changes=True
        )
    assert outcome.fault is None
    assert server.heads() == ["MOVE /a HTTP/1.1", "MOVE /elsewhere/a HTTP/1.1"]
    assert [server.field_of("Overwrite", number) for number in (0, 1)] == ["F", "F"]
    assert [server.field_of("Destination", number) for number in (0, 1)] == ["http://h.example/b"] * 2
    async with raw_server(reply(b"", status, "Location: http://other.example/a")) as server:
        source = target(server, "/a")
        with pytest.raises(NotAllowed):
            await exchanges.send("MOVE", source, Operation(SECONDS), headers, changes=True)


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        (reply(b"", "404 x"), NotThere),
        (reply(b"", "403 x"), NotAllowed),
        (reply(b"", "401 x"), CredentialsRefused),
        (reply(b"", "429 x", "Retry-After: 7"), AskedTooOften),
        (reply(b"", "500 x"), FarBusy),
        (reply(b"<html/>", "200 OK"), WrongDocument),  # no WebDAV there
        (reply(b"<html/>", MULTISTATUS), WrongDocument),
        (reply(b"", MULTISTATUS), WrongDocument),
        (reply(EMPTY[:-20], MULTISTATUS, then="close"), BrokenOff),
        (Say(b"HTTP/1.1 207 x\r\nContent-Length: 999\r\n\r\n" + EMPTY, "close"), BrokenOff),
    ],
)
async def test_what_answers_mean(exchanges: Exchanges, answer: Say, kind: type[HeadraceError]) -> None:
    for asked in ("list", "stat"):
        async with raw_server(answer) as server:
            with pytest.raises(HeadraceError) as caught:
                await getattr(exchanges, asked)(target(server), Operation(SECONDS))
            assert type(caught.value) is kind
            assert caught.value.far.startswith(f"dav://{LOOPBACK}:{server.port}, HTTP ")


async def test_forbidden_with_credentials(exchanges: Exchanges) -> None:
    own = Credentials(CredentialKind.BASIC, "reader", "secret")
    async with raw_server(reply(b"", "403 x")) as server:
        with pytest.raises(CredentialsRefused):
            await exchanges.stat(target(server, credentials=own), Operation(SECONDS))
    assert (server.field_of("Authorization") or "").startswith("Basic ")


async def test_forbidden_after_the_login_was_taken(exchanges: Exchanges) -> None:
    """Then it is not the login: RFC 9110 section 15.5.4 leaves open why a server says 403."""
    own = Credentials(CredentialKind.BASIC, "reader", "secret")
    other = replace(own, secret="another")
    answers = reply(EMPTY, MULTISTATUS), *(reply(b"", "403 x"),) * 2, reply(b"", "401 x")
    async with raw_server(*answers) as server:
        await exchanges.list(target(server, credentials=own), Operation(SECONDS))
        for credentials, kind in ((own, NotAllowed), (other, CredentialsRefused), (own, CredentialsRefused)):
            with pytest.raises(kind):
                await exchanges.stat(target(server, credentials=credentials), Operation(SECONDS))


@pytest.mark.parametrize("status", ["405 x", "501 x"])
async def test_head_where_there_is_no_propfind(exchanges: Exchanges, status: str) -> None:
    head = reply(b"", "200 OK", 'ETag: "1"', "Last-Modified: Thu, 29 Feb 2024 10:15:00 GMT")
    head = Say(head.data.replace(b"Content-Length: 0", b"Content-Length: 5\r\nContent-Type: text/plain"))
    async with raw_server(reply(b"", status), head) as server:
        stat = await exchanges.stat(target(server, "/f"), Operation(SECONDS))
    assert server.heads() == ["PROPFIND /f HTTP/1.1", "HEAD /f HTTP/1.1"]
    assert (stat.kind, stat.size, stat.media_type) == (Kind.FILE, 5, "text/plain")
    assert stat.validators.etag == '"1"'
    assert stat.origin == f"dav://{LOOPBACK}:{server.port}"
    moved = reply(b"", "301 x", "Location: /f/")
    async with raw_server(reply(b"", status), moved, reply(b"", "200 OK")) as server:
        assert (await exchanges.stat(target(server, "/f"), Operation(SECONDS))).kind is Kind.FOLDER
    async with raw_server(reply(b"", status), reply(b"", "404 x")) as server:
        assert await exchanges.look(target(server, "/f"), Operation(SECONDS)) is None


async def test_a_listing_over_its_limit_is_cut_and_left(
    exchanges: Exchanges, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "LIST_ENTRIES", 3)
    entry = b"<D:response><D:href>/f/%d</D:href><D:propstat><D:prop><D:resourcetype/></D:prop>"
    entry += b"</D:propstat></D:response>"
    endless = b'HTTP/1.1 207 x\r\nContent-Length: 99999999\r\n\r\n<D:multistatus xmlns:D="DAV:">'
    endless += b"".join(entry % number for number in range(100))
    async with raw_server(Say(endless, "stall")) as server:
        found = await exchanges.list(target(server), Operation(SECONDS))
    assert found.told == Told(tuple(Entry(b"%d" % number, Kind.FILE) for number in range(3)), partial=True)


@pytest.mark.parametrize(
    ("answer", "fault", "doubtful"),
    [
        (reply(b"", "201 x"), None, False),
        (reply(b"", "204 x"), None, False),
        (reply(b"", "404 x"), NotThere, False),
        (reply(b"", "405 x"), NotPossible, False),
        (reply(b"", "423 x"), FarBusy, False),
        (reply(b"", "500 x"), FarBusy, True),
        (reply(b"", "503 x"), FarBusy, False),
        (reply(EMPTY, MULTISTATUS), FarBusy, True),
        (reply(b"nonsense", MULTISTATUS), FarBusy, True),
    ],
)
async def test_changes(
    exchanges: Exchanges, answer: Say, fault: type[HeadraceError] | None, doubtful: bool
) -> None:
    """RFC 4918: 207 to anything but PROPFIND and PROPPATCH is a failure (sections 9.6.1, 9.8.5, 9.9.4)."""
    async with raw_server(answer) as server:
        outcome = await exchanges.send("DELETE", target(server), Operation(SECONDS), changes=True)
    assert (None if outcome.fault is None else type(outcome.fault), outcome.doubtful) == (fault, doubtful)


async def test_what_failed_inside_of_a_change(exchanges: Exchanges) -> None:
    """Section 9.6.2's example (from memory)."""
    body = (
        b'<d:multistatus xmlns:d="DAV:"><d:response><d:href>http://www.example.com/container/resource3</d:href>'
        b"<d:status>HTTP/1.1 423 Locked</d:status><d:error><d:lock-token-submitted/></d:error>"
        b"</d:response></d:multistatus>"
    )
    async with raw_server(reply(body, MULTISTATUS)) as server:
        outcome = await exchanges.send("DELETE", target(server), Operation(SECONDS), changes=True)
    assert (type(outcome.fault), outcome.doubtful) == (FarBusy, True)


@pytest.mark.parametrize(
    ("answer", "kind"),
    [(Say(b"", "close"), BrokenOff), (Say(b"", "reset"), BrokenOff), (Say(b"", "stall"), TooSlow)],
)
async def test_the_fault_behind_a_doubt(exchanges: Exchanges, answer: Say, kind: type[HeadraceError]) -> None:
    async with raw_server(answer) as server:
        with pytest.raises(MayBeDone) as caught:
            await exchanges.send("DELETE", target(server), Operation(0.5), changes=True)
    assert type(plain_fault(caught.value)) is kind


def test_a_fault_of_the_source_is_what_is_behind_the_doubt() -> None:
    doubt = MayBeDone()
    doubt.__cause__ = source = NoRoom("The gateway has no room")
    assert plain_fault(doubt) is source


async def test_time_is_kept_back_for_tidying() -> None:
    for seconds in (4.0, 400.0):
        operation = Operation(seconds)
        kept = operation.left_to_tidy - operation.left
        assert kept == pytest.approx(min(seconds / 4, limits.TIDY_SECONDS), abs=0.01)
        assert operation.left_to_tidy <= seconds
    with pytest.raises(TooSlow):
        Operation(0)


async def test_steps_add_up(exchanges: Exchanges) -> None:
    async with raw_server(reply(EMPTY, MULTISTATUS)) as server:
        operation, began = Operation(SECONDS), asyncio.get_running_loop().time()
        for _ in range(3):
            await exchanges.stat(target(server), operation)
        took = asyncio.get_running_loop().time() - began
    assert 0 < sum(seconds for _, seconds in operation.steps) <= took
    assert len({label for label, _ in operation.steps}) == len(operation.steps)


async def test_others_have_their_turns_while_a_listing_is_read(exchanges: Exchanges) -> None:
    """However large the pieces are in which it comes: a turn for each few entries."""
    entry = b"<D:response><D:href>/f/%d</D:href><D:propstat><D:prop/></D:propstat></D:response>"
    entries = b"".join(entry % number for number in range(5_000))
    body = b'<D:multistatus xmlns:D="DAV:">' + entries + b"</D:multistatus>"
    turns = 0

    async def count() -> None:
        nonlocal turns
        while True:
            await asyncio.sleep(0)
            turns += 1

    async with raw_server(reply(body, MULTISTATUS)) as server:
        counting = asyncio.create_task(count())
        found = await exchanges.list(target(server), Operation(SECONDS))
        counting.cancel()
    assert found.told is not None
    assert len(found.told.entries) == 5_000
    assert turns > len(body) // limits.LIST_PIECE_BYTES
