"""The file side of the port: targets are URLs with bytes for names; what nobody overrides is NotPossible."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import BrokenOff, NotPossible, TooLarge
from adapters.files import (
    ALREADY_THERE,
    Ability,
    FileAdapter,
    Kind,
    Reading,
    Stat,
    Target,
    Upload,
    Was,
    quoted,
    unmet,
)
from adapters.port import Call, CredentialKind, Credentials, Fetched, Reach
from tests.adapters.contract import tells_nothing_private
from tests.adapters.file_contract import segments

ROOT = "ftp://files.example/pub/"
TARGET = Target(ROOT + "old", ROOT)


@pytest.mark.parametrize(
    ("url", "name"),
    [
        (ROOT, b"pub"),
        ("ftp://files.example/", b""),
        ("ftp://files.example", b""),
        (ROOT + "a%20b/", b"a b"),
        (ROOT + "%2541", b"%41"),
        (ROOT + "%FF", b"\xff"),
        ("http://files.example/a/b?c=/d", b"b"),
    ],
)
def test_the_name_is_the_last_segment_decoded_once(url: str, name: bytes) -> None:
    assert Target(url, ROOT).name == name


@pytest.mark.parametrize(
    ("name", "text"),
    [
        (b"a b", "a%20b"),
        (b"100%", "100%25"),
        (b"a/b", "a%2Fb"),
        (b"a?b#c", "a%3Fb%23c"),
        (b"\xfc", "%FC"),
        (b"a+b&c=d;e:f@g~h!$'()*,", "a+b&c=d;e:f@g~h!$'()*,"),
        (b'[x]\\^`{|}"<>', "%5Bx%5D%5C%5E%60%7B%7C%7D%22%3C%3E"),
    ],
)
def test_what_a_segment_may_hold(name: bytes, text: str) -> None:
    """RFC 3986 section 3.3: pchar is unreserved, percent-encoded, sub-delims, `:` and `@`."""
    assert quoted(name) == text


@given(segments(), segments())
def test_any_name_within_and_beside(name: bytes, other: bytes) -> None:
    root = Target(ROOT, ROOT, index="html")
    inner = root.within(name)
    assert (inner.name, inner.root, inner.index) == (name, ROOT, "html")
    assert inner.url == ROOT + quoted(name)
    assert inner.beside(other) == root.within(other)
    assert inner.within(other).beside(name).url == inner.within(name).url


@pytest.mark.parametrize(
    ("url", "folder"),
    [
        (ROOT, True),
        (ROOT + "a", False),
        (ROOT + "a%2F", False),
        ("http://h.example/a/?b", True),
        ("http://h.example/a?b/", False),
    ],
)
def test_a_slash_at_the_end_names_a_folder(url: str, folder: bool) -> None:
    assert Target(url, url).names_folder is folder


def test_what_does_not_hold_is_told_in_its_own_words() -> None:
    assert unmet(Was.NOTHING).sentence == ALREADY_THERE
    assert unmet(Stat(Kind.FILE)).sentence == "Changed meanwhile"


def test_a_query_belongs_to_one_document_only() -> None:
    target = Target("http://files.example/a?session=1", "http://files.example/")
    assert target.beside(b"b").url == "http://files.example/b"
    assert target.within(b"b").url == "http://files.example/a/b"


async def _chunks() -> AsyncIterator[bytes]:
    yield b"x"


@pytest.mark.parametrize(
    "request_word", ["LIST", "STAT", "READ", "STORE", "APPEND", "ERASE", "RENAME", "MKDIR", "COPY"]
)
async def test_what_no_adapter_can_do_unless_it_says_so(request_word: str) -> None:
    adapter, data = FileAdapter(), Upload(_chunks)
    with pytest.raises(NotPossible) as caught:
        match request_word:
            case "LIST":
                await adapter.list(TARGET, 5)
            case "STAT":
                await adapter.stat(TARGET, 5)
            case "READ":
                adapter.read(TARGET, 0, None, 5)
            case "STORE":
                await adapter.write(TARGET, data, Was.ANYTHING, 5)
            case "APPEND":
                await adapter.append(TARGET, data, Was.ANYTHING, 5)
            case "ERASE":
                await adapter.erase(TARGET, 5)
            case "RENAME":
                await adapter.rename(TARGET, TARGET, 5)
            case "MKDIR":
                await adapter.make_folder(TARGET, 5)
            case _:
                await adapter.copy(TARGET, TARGET, 5)
    assert caught.value.sentence == f"{request_word} is not possible with ftp"
    tells_nothing_private(caught.value)
    assert adapter.abilities(TARGET) is Ability.NONE
    await adapter.aclose()


class Canned(FileAdapter):
    """Reads pieces from memory."""

    def __init__(self, pieces: list[bytes], size: int | None, stat: Stat | None = None) -> None:
        self.pieces, self.size, self.stat_ = pieces, size, stat or Stat(Kind.FILE)
        self.seen: Target | None = None

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        async def chunks() -> AsyncIterator[bytes]:
            for each in self.pieces:
                yield each

        assert (offset, count) == (0, None)
        self.seen = target
        yield Reading(chunks(), 0, self.size, self.stat_, steps=(("read", seconds),))


@given(st.lists(st.binary(max_size=20)), st.booleans())
def test_a_fetch_is_a_read_in_whatever_pieces(pieces: list[bytes], known: bool) -> None:
    body = b"".join(pieces)
    size = len(body) if known else None

    async def run(limit: int) -> Fetched:
        return await Canned(pieces, size).fetch(Call(TARGET.url, body_limit=limit), 5)

    assert asyncio.run(run(len(body))).body == body
    if body:
        with pytest.raises(TooLarge):
            asyncio.run(run(len(body) - 1))


async def test_a_fetch_goes_where_and_as_whom_the_call_says() -> None:
    credentials = Credentials(CredentialKind.BASIC, "reader", "not to be told")
    reach = Reach(frozenset({("files.example", 21)}))
    adapter = Canned([b"1"], 1)
    call = Call(ROOT + "a.json", credentials=credentials, ca="ca.pem", reach=reach, root=ROOT)
    fetched = await adapter.fetch(call, 5)
    assert adapter.seen == Target(ROOT + "a.json", ROOT, credentials, "ca.pem", reach)
    assert (fetched.media_type, fetched.steps) == ("application/json", (("read", 5),))


async def test_a_server_that_names_the_type_goes_before_the_names_ending() -> None:
    stat = Stat(Kind.FILE, media_type="text/plain", charset="latin-1", origin="ftp://files.example:21")
    fetched = await Canned([b"1"], None, stat).fetch(Call(ROOT + "a.json"), 5)
    assert (fetched.media_type, fetched.charset) == ("text/plain", "latin-1")
    assert fetched.origin == "ftp://files.example:21"


@pytest.mark.parametrize("call", [Call(TARGET.url, method="POST"), Call(TARGET.url, body=b"")])
async def test_nothing_is_sent_by_a_fetch(call: Call) -> None:
    adapter = Canned([b"1"], 1)
    with pytest.raises(NotPossible):
        await adapter.fetch(call, 5)
    assert adapter.seen is None


async def test_a_read_that_breaks_off_is_no_document() -> None:
    class Breaking(Canned):
        @asynccontextmanager
        async def read(
            self, target: Target, offset: int, count: int | None, seconds: float
        ) -> AsyncIterator[Reading]:
            async def chunks() -> AsyncIterator[bytes]:
                yield b"x"
                raise BrokenOff

            yield Reading(chunks(), 0, 2, self.stat_)

    with pytest.raises(BrokenOff):
        await Breaking([], 2).fetch(Call(TARGET.url), 5)
