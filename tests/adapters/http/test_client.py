"""One exchange whose body streams: what goes, what comes, what breaks, and what that means."""

import asyncio
import gzip
import tracemalloc
from dataclasses import replace
from time import perf_counter

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    CredentialsRefused,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    TooLarge,
    TooSlow,
    WrongWords,
)
from adapters.http.client import HttpClient, Request
from adapters.port import CredentialKind, Credentials
from tests.adapters.http.servers import LOOPBACK, reset
from tests.adapters.http.talks import SECONDS, Line, Talk, collected, endless, field_of, fine, pieces, talking

# What goes


async def test_a_request_goes_as_it_is_written(client: HttpClient) -> None:
    async with talking(fine) as server:
        request = Request(
            "PROPFIND",
            server.target("/folder/"),
            headers=(("Depth", "1"),),
            body=b"<x/>",
            media_type="application/xml",
            accept="text/xml",
        )
        answer, body = await collected(client, request)
        assert (answer.status, body, answer.fault) == (200, b"ok", None)
        assert answer.url == f"http://{LOOPBACK}:{server.port}/folder/"
        assert answer.origin == f"http://{LOOPBACK}:{server.port}"
        assert {label for label, _ in answer.steps} == {"queue", "connect", "answer"}
        line = server.lines[0]
        assert server.request_lines() == ["PROPFIND /folder/ HTTP/1.1"]
        names = ("Depth", "Content-Type", "Accept", "Accept-Encoding", "Content-Length")
        assert [field_of(line.heads[0], name) for name in names] == [
            "1",
            "application/xml",
            "text/xml",
            "identity",
            "4",
        ]
        assert line.body == b"<x/>"


async def test_what_only_asks_shares_a_kept_connection(client: HttpClient) -> None:
    async with talking(fine) as server:
        for _ in range(3):
            await collected(client, Request("GET", server.target()))
        assert len(server.lines) == 1
        await collected(client, Request("PUT", server.target(), body=b"x", changes=True))
        assert len(server.lines) == 2, "a change has one of its own"
        await collected(client, Request("PUT", server.target(), body=pieces(b"x", size=1)))
        assert len(server.lines) == 3, "and so has a streamed body"


@pytest.mark.parametrize("name", ["X\r\nY", "Host", "Content-Length", "Transfer-Encoding", "", "X Y"])
async def test_a_header_that_may_not_be_sent(client: HttpClient, name: str) -> None:
    await refused_header(client, (name, "1"))


@pytest.mark.parametrize("value", ["a\r\nb", "a\nb", "a\0b", "a\rb"])
async def test_a_value_that_would_split_the_request(client: HttpClient, value: str) -> None:
    await refused_header(client, ("Destination", value))


async def refused_header(client: HttpClient, header: tuple[str, str]) -> None:
    async with talking(fine) as server:
        with pytest.raises(WrongWords):
            await collected(client, Request("MOVE", server.target(), headers=(header,), changes=True))
        assert server.lines == []


@pytest.mark.parametrize("known", [True, False], ids=["size known", "size unknown"])
async def test_an_upload_streams(client: HttpClient, known: bool) -> None:
    """With Content-Length (RFC 9112 section 6.2) or in chunks (section 7.1)."""
    sent = [bytes([number]) * 70_000 for number in range(20)]

    async def talk(line: Line) -> None:
        head = await line.head()
        if known:
            await line.take(int(field_of(head, "content-length") or 0))
        else:
            assert field_of(head, "transfer-encoding") == "chunked"
            while size := int(await line.reader.readline(), 16):
                await line.take(size)
                await line.reader.readexactly(2)
        await line.say("HTTP/1.1 201 Created\nContent-Length: 0\n\n")

    async with talking(talk) as server:
        upload = pieces(*sent, b"", size=sum(map(len, sent)) if known else None)
        answer, _ = await collected(client, Request("PUT", server.target(), body=upload, changes=True))
        assert answer.status == 201
        assert server.lines[0].body == b"".join(sent)
        assert field_of(server.heads()[0], "content-type") == "application/octet-stream"


async def test_an_upload_of_nothing(client: HttpClient) -> None:
    async with talking(fine) as server:
        answer, _ = await collected(
            client, Request("PUT", server.target(), body=pieces(size=0), changes=True)
        )
        assert answer.status == 200
        assert field_of(server.heads()[0], "content-length") == "0"


async def test_memory_stays_bounded_either_way(client: HttpClient) -> None:
    """64 MB through one exchange, with a reader and a writer that are slower than this side."""
    block, blocks = bytes(1 << 20), 64

    async def talk(line: Line) -> None:
        await line.head()
        for _ in range(blocks):
            line.body = b""
            await line.take(len(block))
        await line.say(f"HTTP/1.1 200 OK\nContent-Length: {blocks * len(block)}\n\n")
        for _ in range(blocks):
            await line.say(block)

    async with talking(talk) as server:
        tracemalloc.start()
        upload = pieces(*([block] * blocks), size=blocks * len(block))
        received = 0
        async with client.exchange(Request("PUT", server.target(), body=upload), SECONDS) as answer:
            async for chunk in answer.chunks:
                received += len(chunk)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert received == blocks * len(block)
        assert peak < 12 << 20, f"{peak >> 20} MB with the server's own"


# What comes


CUTS = {
    "content-length": ("HTTP/1.1 200 OK\nContent-Length: 9\n\n", b"abc"),
    "large": (f"HTTP/1.1 200 OK\nContent-Length: {5 << 20}\n\n", bytes(3 << 20)),
    "chunked": ("HTTP/1.1 200 OK\nTransfer-Encoding: chunked\n\n", b"3\r\nabc\r\n"),
    "inside a chunk": ("HTTP/1.1 200 OK\nTransfer-Encoding: chunked\n\n", b"9\r\nabc"),
    "gzip": (
        "HTTP/1.1 200 OK\nContent-Encoding: gzip\nContent-Length: 15\n\n",
        gzip.compress(b"abc", mtime=0)[:15],
    ),
}


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("how", ["close", "reset"])
async def test_a_body_cut_short_is_broken_off(client: HttpClient, cut: str, how: str) -> None:
    """Never a shorter document (RFC 9112 section 8)."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say(*CUTS[cut])
        await asyncio.sleep(0.05)
        if how == "reset":
            reset(line.writer)

    async with talking(talk) as server:
        with pytest.raises(BrokenOff):
            await collected(client, Request("GET", server.target()))
        async with client.exchange(
            Request("PUT", server.target(), body=b"", changes=True), SECONDS
        ) as answer:
            assert answer.fault is None
            with pytest.raises(MayBeDone):
                _ = [chunk async for chunk in answer.chunks]


@pytest.mark.parametrize("phase", ["", "HTTP/1.1 2", "HTTP/1.1 200 OK\nContent-Le"])
async def test_cut_before_the_body(client: HttpClient, phase: str) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.say(phase)

    for changes, kind in ((False, BrokenOff), (True, MayBeDone)):
        async with talking(talk) as server:
            with pytest.raises(HeadraceError) as caught:
                await collected(client, Request("GET", server.target(), changes=changes))
            assert type(caught.value) is kind


@pytest.mark.parametrize("size", [1, 70_000, 3 << 20, (3 << 20) + 1])
@pytest.mark.parametrize("step", [1 << 30, 100_003])
async def test_bodies_come_through_whole(client: HttpClient, size: int, step: int) -> None:
    body = (bytes(range(251)) * (size // 251 + 1))[:size]

    async def talk(line: Line) -> None:
        while True:
            await line.head()
            await line.say(f"HTTP/1.1 200 OK\nContent-Length: {size}\n\n")
            for start in range(0, size, step):
                await line.say(body[start : start + step])

    async with talking(talk) as server:
        for _ in range(2):
            assert (await collected(client, Request("GET", server.target())))[1] == body


@pytest.mark.parametrize("size", [9, 3 << 20])
async def test_bytes_beyond_the_announced_length_are_no_part_of_it(client: HttpClient, size: int) -> None:
    """RFC 9112 section 6.3; whose they are nobody knows (section 9.2)."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say(f"HTTP/1.1 200 OK\nContent-Length: {size}\n\n", b"x" * size + b"y" * 100_000)

    async with talking(talk) as server:
        assert (await collected(client, Request("GET", server.target())))[1] == b"x" * size


async def test_leaving_early_stops_the_transfer_and_harms_nobody(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        while True:
            head = await line.head()
            if "/long" in head:
                await line.say(f"HTTP/1.1 200 OK\nContent-Length: {1 << 40}\n\n")
                while True:
                    await line.say(bytes(65_536))
            await line.say("HTTP/1.1 200 OK\nContent-Length: 2\n\nok")

    async with talking(talk) as server:
        for _ in range(40):  # more than there are turns for one origin
            async with client.exchange(Request("GET", server.target("/long")), SECONDS) as answer:
                async for chunk in answer.chunks:
                    assert chunk
                    break
            async with client.exchange(Request("GET", server.target("/long")), SECONDS):
                pass
            assert (await collected(client, Request("GET", server.target())))[1] == b"ok"


async def test_an_unread_small_answer_leaves_its_connection(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        while True:
            await line.head()
            await line.say("HTTP/1.1 404 Not Found\nContent-Length: 9\n\nnot there")

    async with talking(talk) as server:
        for _ in range(3):
            async with client.exchange(Request("GET", server.target()), SECONDS) as answer:
                assert answer.status == 404
        assert len(server.lines) == 1


async def test_the_callers_own_errors_pass_through(client: HttpClient) -> None:
    async with talking(fine) as server:
        with pytest.raises(NotPossible):
            async with client.exchange(Request("PUT", server.target(), body=b"", changes=True), SECONDS):
                raise NotPossible("Mine")


# Time


@pytest.mark.parametrize("when", ["answer", "body", "large body"])
async def test_a_deadline_holds(client: HttpClient, when: str) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        if when == "body":
            await line.say("HTTP/1.1 200 OK\nContent-Length: 9\n\nabc")
        if when == "large body":
            await line.say(f"HTTP/1.1 200 OK\nContent-Length: {9 << 20}\n\n", bytes(2 << 20))
        await asyncio.sleep(10)

    for changes, kind in ((False, TooSlow), (True, MayBeDone)):
        async with talking(talk) as server:
            began = perf_counter()
            with pytest.raises(HeadraceError) as caught:
                await collected(client, Request("GET", server.target(), changes=changes), 0.4)
            assert type(caught.value) is kind
            assert 0.3 < perf_counter() - began < 3


async def test_the_deadline_is_for_the_far_server_not_for_the_caller(client: HttpClient) -> None:
    """The caller's own work is never cancelled; what is asked for after the end, and not here, is TooSlow."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 200 OK\nContent-Length: 9\n\nabc")
        await asyncio.sleep(10)

    async with talking(talk) as server, client.exchange(Request("GET", server.target()), 0.3) as answer:
        await asyncio.sleep(0.5)
        with pytest.raises(TooSlow):
            _ = [chunk async for chunk in answer.chunks]


@pytest.mark.parametrize("when", ["answer", "body", "large body", "upload"])
async def test_where_nothing_moves_it_is_given_up(
    client: HttpClient, when: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "STALL_SECONDS", 0.3)

    async def talk(line: Line) -> None:
        await line.head()
        if when == "body":
            await line.say("HTTP/1.1 200 OK\nContent-Length: 9\n\nabc")
        if when == "large body":
            await line.say(f"HTTP/1.1 200 OK\nContent-Length: {9 << 20}\n\n", bytes(2 << 20))
        await asyncio.sleep(10)

    for changes, kind in ((False, TooSlow), (True, MayBeDone)):
        async with talking(talk) as server:
            began = perf_counter()
            body = endless(1 << 40) if when == "upload" else None
            with pytest.raises(HeadraceError) as caught:
                await collected(client, Request("PUT", server.target(), body=body, changes=changes))
            assert type(caught.value) is kind
            assert 0.2 < perf_counter() - began < 5


async def test_a_slow_drip_is_no_stall(client: HttpClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "STALL_SECONDS", 0.5)

    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 200 OK\nContent-Length: 10\n\n")
        for _ in range(10):
            await asyncio.sleep(0.1)
            await line.say(b"x")

    async with talking(talk) as server:
        assert (await collected(client, Request("GET", server.target())))[1] == b"x" * 10


async def test_status_faults_are_offered_and_not_raised(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 503 Busy\nRetry-After: 7\nContent-Length: 3\n\nwhy")

    async with talking(talk) as server:
        answer, body = await collected(client, Request("GET", server.target()))
        assert (answer.status, body) == (503, b"why")
        assert answer.fault is not None
        assert answer.fault.code == 450
        assert answer.fault.far.endswith("HTTP 503")


async def test_a_whole_body_has_a_limit(client: HttpClient) -> None:
    async with talking(fine) as server:
        async with client.exchange(Request("GET", server.target()), SECONDS) as answer:
            assert await answer.body(2) == b"ok"
        async with client.exchange(Request("GET", server.target()), SECONDS) as answer:
            with pytest.raises(TooLarge):
                await answer.body(1)


@pytest.mark.parametrize("field", [1_000, 10_000])
async def test_a_header_section_has_a_limit(client: HttpClient, field: int) -> None:
    """Less than httpcore takes, and as much as any other answer may have."""
    async with talking(with_fields(limits.HEADER_BYTES // field + 1, field)) as server:
        with pytest.raises(TooLarge):
            await collected(client, Request("GET", server.target()))
    async with talking(with_fields(limits.HEADER_BYTES // field - 1, field)) as server:
        assert (await collected(client, Request("GET", server.target())))[1] == b"ok"


def with_fields(count: int, size: int) -> Talk:
    async def talk(line: Line) -> None:
        while True:
            await line.head()
            fields = "".join(f"X-{number:05}: {'x' * (size - 7)}\n" for number in range(count))
            await line.say(f"HTTP/1.1 200 OK\n{fields}Content-Length: 2\n\nok")

    return talk


async def test_the_oldest_login_that_was_taken_is_forgotten(
    client: HttpClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A 403 for it may again be about the login; one for a login that is remembered is not (533, 532)."""
    monkeypatch.setattr(limits, "LOGINS_TAKEN", 2)

    async def talk(line: Line) -> None:
        while True:
            head = await line.head()
            status = "403 Forbidden" if " /no " in head else "200 OK"
            await line.say(f"HTTP/1.1 {status}\nContent-Length: 2\n\nok")

    async with talking(talk) as server:

        async def asked(name: str, path: str) -> HeadraceError | None:
            login = Credentials(CredentialKind.BASIC, name, "secret")
            target = replace(server.target(path), credentials=login)
            return (await collected(client, Request("GET", target)))[0].fault

        for name in ("first", "second", "third"):
            assert await asked(name, "/yes") is None
        kinds = [type(await asked(name, "/no")) for name in ("first", "second", "third")]
        assert kinds == [CredentialsRefused, NotAllowed, NotAllowed]
