"""Reading a document or a part of it: ranges (RFC 9110 section 14), odd servers, resumption."""

import gzip
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import BrokenOff, ChangedMeanwhile, HeadraceError, NotThere, TooSlow, WrongDocument
from adapters.files import Digest, Kind, Reading
from adapters.http.client import HttpClient
from adapters.http.documents.reading import Wanted, reading
from adapters.port import Validators
from tests.adapters.http.documents.sites import BODY, TAG, Asked, Give, Site, part
from tests.adapters.http.talks import SECONDS, TalkServer, talking

NOW = datetime(2026, 11, 6, tzinfo=UTC)
ETAG = f"ETag: {TAG}"


def now() -> datetime:
    return NOW


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "RESUME_SECONDS", 0.01)


@asynccontextmanager
async def site(give: Callable[[Asked], Give]) -> AsyncIterator[tuple[Site, TalkServer]]:
    made = Site(give)
    async with talking(made.talk) as server:
        yield made, server


async def read(
    client: HttpClient,
    server: TalkServer,
    offset: int = 0,
    count: int | None = None,
    seconds: float = SECONDS,
) -> tuple[Reading, bytes]:
    wanted = Wanted(server.target(), offset, count)
    async with reading(client, wanted, seconds, now) as found:
        return found, b"".join([chunk async for chunk in found.chunks])


# Honest servers


@pytest.mark.parametrize(
    ("offset", "count", "asked"),
    [  # the ranges of RFC 9110 section 14.1.2, for a document of 10,240 bytes instead of 10,000
        (0, 500, "bytes=0-499"),
        (500, 500, "bytes=500-999"),
        (9500, None, "bytes=9500-"),
        (0, 1, "bytes=0-0"),
        (0, None, None),
        (10_239, 500, "bytes=10239-10738"),
    ],
)
async def test_the_range_that_is_asked_for(
    client: HttpClient, offset: int, count: int | None, asked: str | None
) -> None:
    async with site(part) as (made, server):
        found, body = await read(client, server, offset, count)
        assert body == BODY[offset : None if count is None else offset + count]
        assert (found.offset, found.size, found.stat.size) == (offset, len(BODY), len(BODY))
        assert made.ranges() == [asked]


async def test_what_is_told_of_the_document(client: HttpClient) -> None:
    fields = (
        ETAG,
        "Last-Modified: Tue, 15 Nov 1994 12:45:26 GMT",
        "Content-Type: text/plain; charset=utf-8",
        "Repr-Digest: sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:",
    )
    async with site(lambda asked: part(asked, BODY, *fields)) as (made, server):
        for offset in (0, 7):
            found, _ = await read(client, server, offset)
            stat = found.stat
            assert (stat.kind, stat.media_type, stat.charset) == (Kind.FILE, "text/plain", "utf-8")
            assert stat.modified == datetime(1994, 11, 15, 12, 45, 26, tzinfo=UTC)
            assert stat.validators == Validators(TAG, "Tue, 15 Nov 1994 12:45:26 GMT")
            assert isinstance(found.digest, Digest)
            assert found.digest.digits.startswith("44aff4ab")
            assert found.steps
        assert "Want-Repr-Digest: sha-256=10" in made.asked[0].head  # RFC 9530 section 4
        assert "Accept-Encoding: identity\r\n" in made.asked[0].head


@pytest.mark.parametrize("offset", [len(BODY), len(BODY) + 1, 10 * len(BODY)])
@pytest.mark.parametrize("count", [None, 5])
async def test_at_or_past_the_end_there_are_no_bytes(
    client: HttpClient, offset: int, count: int | None
) -> None:
    """RFC 9110 section 15.5.17."""
    async with site(lambda asked: part(asked, BODY, ETAG)) as (_, server):
        found, body = await read(client, server, offset, count)
        assert body == b""
        assert found.size == len(BODY)
        assert found.stat.validators.etag == TAG, "what it is is asked for, as a 416 does not tell"


async def test_no_bytes_wanted(client: HttpClient) -> None:
    async with site(part) as (made, server):
        found, body = await read(client, server, 3, 0)
        assert (found.size, body) == (len(BODY), b"")
        assert made.asked[0].method == "HEAD"


@pytest.mark.parametrize("status", ["404 Not Found", "410 Gone"])
async def test_nothing_there(client: HttpClient, status: str) -> None:
    async with site(lambda _: Give(status, b"sorry")) as (_, server):
        for offset, count in ((0, None), (5, 5), (0, 0)):
            with pytest.raises(NotThere):
                await read(client, server, offset, count)


# Servers that answer something else than was asked for


def whole(_: Asked) -> Give:
    return Give(body=BODY)


def wide(asked: Asked) -> Give:
    """The range, and some more around it."""
    if asked.range is None:
        return whole(asked)
    first, last = max(0, asked.first - 100), min(len(BODY), (asked.last or len(BODY)) + 100) - 1
    told = f"Content-Range: bytes {first}-{last}/{len(BODY)}"
    return Give("206 Partial Content", BODY[first : last + 1], (told,))


def unasked(text: str, body: bytes = b"not these bytes at all") -> Callable[[Asked], Give]:
    """A 206 that is of no use, and the whole where no range was asked for."""

    def give(asked: Asked) -> Give:
        return whole(asked) if asked.range is None else Give("206 Partial Content", body, (text,))

    return give


def picky(asked: Asked) -> Give:
    """No ranges, and says so in a wrong way."""
    return whole(asked) if asked.range is None else Give("416 Range Not Satisfiable", b"no ranges here")


def packed(asked: Asked) -> Give:
    if asked.range is None:
        return Give(body=gzip.compress(BODY), fields=("Content-Encoding: gzip",))
    told = f"Content-Range: bytes {asked.first}-{asked.first + 9}/99999"
    return Give("206 Partial Content", bytes(10), (told, "Content-Encoding: gzip"))


ODD = {
    "no ranges": whole,
    "more than wanted": wide,
    "another range": unasked("Content-Range: bytes 0-21/10240"),
    "a later range": unasked("Content-Range: bytes 5000-5021/10240"),
    "no Content-Range": unasked("X-Nothing: 1"),
    "nonsense": unasked("Content-Range: bytes 5-1/x"),
    "several parts": unasked("Content-Type: multipart/byteranges; boundary=THIS_STRING_SEPARATES"),
    "416 inside": picky,
    "a range of what is packed": packed,
}


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize(("offset", "count"), [(1000, 500), (1000, None), (10_239, 1), (300, 1)])
async def test_odd_servers(client: HttpClient, odd: str, offset: int, count: int | None) -> None:
    async with site(ODD[odd]) as (_, server):
        _, body = await read(client, server, offset, count)
        assert body == BODY[offset : None if count is None else offset + count]


async def test_a_part_that_nobody_asked_for(client: HttpClient) -> None:
    async with site(lambda _: Give("206 Partial Content", b"x", ("Content-Range: bytes 0-0/9",))) as (
        _,
        server,
    ):
        with pytest.raises(WrongDocument):
            await read(client, server)


async def test_of_a_whole_document_no_more_is_read_than_wanted(client: HttpClient) -> None:
    async with site(lambda _: Give(body=bytes(1000), length=1 << 40)) as (_, server):
        _, body = await read(client, server, 100, 50, 5)
        assert body == bytes(50)


async def test_past_the_end_of_a_server_without_ranges(client: HttpClient) -> None:
    async with site(whole) as (_, server):
        for offset in (len(BODY), 10 * len(BODY)):
            found, body = await read(client, server, offset, 7)
            assert (found.size, body) == (len(BODY), b"")


async def test_a_document_of_unknown_size(client: HttpClient) -> None:
    """In chunks and without ranges: it ends where the server ends it."""

    def give(asked: Asked) -> Give:
        return Give(body=gzip.compress(BODY), fields=("Content-Encoding: gzip",))

    async with site(give) as (_, server):
        for offset, count in ((0, None), (100, None), (100, 100), (10_200, 100), (20_000, 5)):
            found, body = await read(client, server, offset, count)
            assert found.size is None
            assert body == BODY[offset : None if count is None else offset + count]


# What breaks off


def breaking(times: int, *fields: str, cut: int = 1000) -> Callable[[Asked], Give]:
    """Breaks off after so many bytes, so many times."""

    def give(asked: Asked) -> Give:
        return part(asked, BODY, *fields, cut=cut if asked.number < times else None)

    return give


@pytest.mark.parametrize("times", [1, 2, 5])
async def test_it_is_taken_up_where_it_broke(client: HttpClient, times: int) -> None:
    """RFC 9110 section 13.1.5."""
    async with site(breaking(times, ETAG)) as (made, server):
        assert (await read(client, server))[1] == BODY
        assert made.ranges() == [None, *(f"bytes={number * 1000}-10239" for number in range(1, times + 1))]
        assert all(f"If-Range: {TAG}\r\n" in each.head for each in made.asked[1:])


async def test_within_a_part(client: HttpClient) -> None:
    async with site(breaking(2, ETAG)) as (made, server):
        assert (await read(client, server, 100, 5000))[1] == BODY[100:5100]
        assert made.ranges() == ["bytes=100-5099", "bytes=1100-5099", "bytes=2100-5099"]


async def test_a_date_serves_where_it_is_strong(client: HttpClient) -> None:
    modified = "Last-Modified: Tue, 15 Nov 1994 12:45:26 GMT"
    async with site(breaking(1, modified, "Date: Tue, 15 Nov 1994 13:45:26 GMT")) as (made, server):
        assert (await read(client, server))[1] == BODY
        assert "If-Range: Tue, 15 Nov 1994 12:45:26 GMT" in made.asked[1].head


@pytest.mark.parametrize("fields", [(), ('ETag: W/"v1"',), ("Last-Modified: Tue, 15 Nov 1994 12:45:26 GMT",)])
async def test_not_without_a_strong_validator(client: HttpClient, fields: tuple[str, ...]) -> None:
    async with site(breaking(1, *fields)) as (made, server):
        with pytest.raises(BrokenOff):
            await read(client, server)
        assert len(made.asked) == 1


async def test_not_without_ranges(client: HttpClient) -> None:
    async with site(lambda _: Give(body=BODY, fields=(ETAG,), cut=1000)) as (made, server):
        with pytest.raises(BrokenOff):
            await read(client, server)
        assert len(made.asked) == 1


async def test_not_for_ever(client: HttpClient) -> None:
    async with site(breaking(1000, ETAG, cut=1)) as (made, server):
        with pytest.raises(BrokenOff):
            await read(client, server)
        assert len(made.asked) == 1 + limits.READ_RESUMES


async def test_not_beyond_the_time(client: HttpClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "RESUME_SECONDS", 60.0)
    async with site(breaking(1000, ETAG, cut=1)) as (made, server):
        with pytest.raises(BrokenOff):
            await read(client, server, seconds=3)
        assert len(made.asked) == 2


def later(answer: Callable[[Asked], Give]) -> Callable[[Asked], Give]:
    """Breaks off once, and answers so afterwards."""
    return lambda asked: answer(asked) if asked.number else part(asked, BODY, ETAG, cut=1000)


OTHER = {
    "another document": (lambda _: Give(body=BODY, fields=('ETag: "v2"',)), ChangedMeanwhile),
    "a part of another": (lambda asked: part(asked, BODY, 'ETag: "v2"'), ChangedMeanwhile),
    "a part of a longer one": (lambda asked: part(asked, BODY + b"x"), ChangedMeanwhile),
    "gone": (lambda _: Give("404 Not Found"), BrokenOff),
    "another part": (
        lambda _: Give("206 Partial Content", b"x", ("Content-Range: bytes 0-0/10240",)),
        BrokenOff,
    ),
    "no Content-Range": (lambda _: Give("206 Partial Content", b"x"), BrokenOff),
    "the whole, compressed": (
        lambda _: Give(body=gzip.compress(BODY), fields=(ETAG, "Content-Encoding: gzip")),
        BrokenOff,
    ),
    "busy for ever": (lambda _: Give("503 Service Unavailable"), BrokenOff),
}


@pytest.mark.parametrize("other", OTHER)
async def test_where_it_is_not_the_same_any_more(client: HttpClient, other: str) -> None:
    """The bytes of two documents are never put together."""
    answer, kind = OTHER[other]
    async with site(later(answer)) as (_, server):
        with pytest.raises(HeadraceError) as caught:
            await read(client, server)
        assert type(caught.value) is kind


async def test_a_server_that_was_busy_for_a_moment(client: HttpClient) -> None:
    def give(asked: Asked) -> Give:
        if asked.number == 1:
            return Give("503 Service Unavailable")
        return part(asked, BODY, ETAG, cut=1000 if asked.number == 0 else None)

    async with site(give) as (_, server):
        assert (await read(client, server))[1] == BODY


async def test_the_whole_once_more_where_it_is_the_same(client: HttpClient) -> None:
    """If-Range with a server that then has no ranges: the same document from its start."""
    async with site(later(lambda _: Give(body=BODY, fields=(ETAG,)))) as (_, server):
        assert (await read(client, server))[1] == BODY


async def test_parts_shorter_than_asked_for(client: HttpClient) -> None:
    """A server may give less (RFC 9110 section 15.3.7): the rest is asked for, however many times."""

    def give(asked: Asked) -> Give:
        last = min(asked.first + 999, asked.last or 10_239, 10_239)
        told = f"Content-Range: bytes {asked.first}-{last}/{len(BODY)}"
        return Give("206 Partial Content", BODY[asked.first : last + 1], (told, ETAG))

    async with site(give) as (made, server):
        assert (await read(client, server, 1))[1] == BODY[1:]
        assert len(made.asked) == 11


async def test_parts_shorter_than_they_say(client: HttpClient) -> None:
    """The answer ends well, before the bytes that its Content-Range told of: what is missing is asked for,
    but not for ever, as nothing says that it will come.
    """

    def give(asked: Asked) -> Give:
        whole = part(asked, BODY, ETAG)
        return replace(whole, body=whole.body[:step])

    step = 4_000
    async with site(give) as (made, server):
        assert (await read(client, server, 1))[1] == BODY[1:]
        assert made.ranges() == ["bytes=1-", "bytes=4001-10239", "bytes=8001-10239"]
    step = 100
    async with site(give) as (made, server):
        with pytest.raises(BrokenOff):
            await read(client, server, 1)
        assert len(made.asked) == 1 + limits.READ_RESUMES


async def test_parts_of_a_document_whose_size_nobody_knows(client: HttpClient) -> None:
    """RFC 9110 section 14.4: `*` for the complete length. It ends where there is no more (416)."""

    def give(asked: Asked) -> Give:
        if asked.first >= len(BODY):
            return Give("416 Range Not Satisfiable")
        last = min(asked.first + 5_000, 10_239)
        told = f"Content-Range: bytes {asked.first}-{last}/*"
        return Give("206 Partial Content", BODY[asked.first : last + 1], (told, ETAG))

    async with site(give) as (_, server):
        found, body = await read(client, server, 1)
        assert (found.size, body) == (None, BODY[1:])
        assert (await read(client, server, 1, 7_000))[1] == BODY[1:7_001]
        assert (await read(client, server, 10_000, 7_000))[1] == BODY[10_000:]


async def test_time_is_up_in_the_middle(client: HttpClient) -> None:
    async with site(lambda _: Give(body=BODY, fields=(ETAG,), length=1 << 30)) as (_, server):
        with pytest.raises(TooSlow):
            await read(client, server, seconds=0.3)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    offset=st.integers(0, 11_000),
    count=st.none() | st.integers(0, 11_000),
    cuts=st.lists(st.integers(0, 6_000), max_size=5),
    ranged=st.booleans(),
)
async def test_whatever_breaks_the_bytes_are_right(
    offset: int, count: int | None, cuts: list[int], ranged: bool
) -> None:
    """Either exactly what was wanted, or BrokenOff."""

    def give(asked: Asked) -> Give:
        cut = cuts[asked.number] if asked.number < len(cuts) and asked.method == "GET" else None
        if ranged:
            return part(asked, BODY, ETAG, cut=cut)
        return Give(body=BODY, cut=cut)

    client = HttpClient()
    async with site(give) as (_, server):
        wanted = BODY[offset : None if count is None else offset + count]
        try:
            assert (await read(client, server, offset, count))[1] == wanted
        except BrokenOff:
            assert cuts
    await client.aclose()
