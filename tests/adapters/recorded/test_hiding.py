"""Spellings of secrets are made by the standard library (tests.adapters.test_redaction has them all)."""

import base64
import json
import re
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters import limits
from adapters.files import Digest, Entry, Kind, Listing, Stat
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Message, Told
from adapters.recorded.hiding import without_digests
from tests.adapters.recorded.exchanges import NOON, folder, hiding, loaded, sized
from tests.adapters.test_redaction import SPELLINGS

SECRET = 'open/sesame "7"'
URL_TEXT = re.compile(r"[A-Za-z0-9%/+=_-]+")
URL = "https://tides.example/mole.json"
EVERY: dict[str, Callable[[str], str]] = {
    **SPELLINGS,
    "base64": lambda text: base64.b64encode(text.encode()).decode(),
    "basic": lambda text: base64.b64encode(f"mole:{text}".encode()).decode(),
    "base64, url": lambda text: base64.urlsafe_b64encode(f"x{text}".encode()).decode(),
}


def holds(data: bytes, secret: str = SECRET) -> bool:
    """Whether the secret, or half of it, is in there in a usual spelling."""
    half = secret[: len(secret) // 2]
    spelled = {
        each for text in (secret, half) for each in (text, quote(text, safe=""), json.dumps(text)[1:-1])
    }
    runs = [base64.b64encode(b"x" * before + secret.encode()).decode()[4:-4] for before in range(3)]
    return any(each.encode() in data for each in (*spelled, *runs))


def answered(asked: Asked, *headers: tuple[str, str], body: bytes = b"") -> Exchange:
    return Exchange(asked, Message(200, headers, Content(body)), NOON)


@pytest.mark.parametrize("spelling", EVERY)
def test_a_secret_is_nowhere_in_the_tree(tmp_path: Path, spelling: str) -> None:
    spelled = EVERY[spelling](SECRET)
    inert = spelled.replace("\n", "")
    in_url = spelled if URL_TEXT.fullmatch(spelled) else quote(SECRET)
    asked = Asked(
        "POST",
        f"https://tides.example/{in_url}/a?b={in_url}",
        (("Accept", inert), ("Referer", f"https://tides.example/?b={in_url}")),
        Content(f"<{spelled}>".encode()),
        request=f"ASK TIDES {inert}",
    )
    body = f"before <{spelled}> after".encode()
    made = folder(tmp_path, SECRET)
    made.add(answered(asked, ("Location", inert), ("X-Echo", inert), body=body))
    draft = made.draft()
    for at in range(len(body)):
        draft.add(body[at : at + 1])
    draft.keep(replace(asked, method="PUT"), Message(200, (), draft.content()))
    failure = Failure("TooSlow", f"No answer to {inert}", far=f"ftp://quay.example/{in_url}")
    made.add(Exchange(replace(asked, method="PATCH"), failure, NOON))
    paths = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert len(paths) >= 6
    for path in paths:
        assert not holds(path.read_bytes()), path
        assert not holds(str(path).encode()), path
    assert "a secret in a body of https://tides.example" in made.hidden
    assert not holds("\n".join(made.hidden).encode())
    assert [sized(each) for each in loaded(tmp_path, SECRET).find(asked)] == [
        sized(each) for each in made.find(asked)
    ]


@settings(max_examples=60)
@given(
    st.lists(
        st.sampled_from([*(spell(SECRET) for spell in EVERY.values()), "tide, ", "é", "1", "QUJD", "\n"])
    ),
    st.lists(st.integers(1, 40), min_size=1, max_size=20),
    st.booleans(),
)
def test_where_a_body_is_cut_never_matters(words: list[str], cuts: list[int], same_size: bool) -> None:
    body = "".join(words).encode()
    whole = hiding(SECRET).body(same_size=same_size)
    expected = whole.feed(body) + whole.finish()
    cut = hiding(SECRET).body(same_size=same_size)
    cut._enough = 0
    pieces, at = [], 0
    for number in range(10_000):
        size = cuts[number % len(cuts)]
        pieces.append(cut.feed(body[at : at + size]))
        cut._enough = 0  # it waits for more than a few bytes only to be faster
        at += size
        if at >= len(body):
            break
    assert b"".join([*pieces, cut.finish()]) == expected
    assert not holds(expected)
    assert cut.changed == whole.changed == any(holds(word.encode()) or len(word) > 8 for word in words)
    if same_size:
        assert len(expected) == len(body)


WIDE = ("utf-16-le", "utf-16-be", "utf-16", "utf-32-le", "utf-32-be", "utf-32")


@pytest.mark.parametrize("codec", WIDE)
@settings(max_examples=40)
@given(
    st.lists(st.sampled_from([SECRET, quote(SECRET), "tide, ", "\u00e9", "\U0001f30a", "\n"]), max_size=8),
    st.lists(st.integers(1, 40), min_size=1, max_size=20),
    st.binary(max_size=3),
)
def test_a_secret_in_wide_characters(codec: str, words: list[str], cuts: list[int], rest: bytes) -> None:
    """RFC 2781, and UTF-32 of the Unicode Standard (D99 to D101), with and without the mark in front."""
    text = "".join(["Tides ", *words, "."])
    body = text.encode(codec) + rest
    made = hiding(SECRET).body(same_size=True)
    pieces, at = [], 0
    for number in range(10_000):
        made._enough = 0  # it waits for more than a few bytes only to be faster
        pieces.append(made.feed(body[at : at + cuts[number % len(cuts)]]))
        at += cuts[number % len(cuts)]
        if at >= len(body):
            break
    clean = b"".join([*pieces, made.finish()])
    assert len(clean) == len(body)
    hidden = text
    for each in (SECRET, quote(SECRET)):
        hidden = hidden.replace(each, "*" * len(each))
    assert clean == hidden.encode(codec) + rest
    assert made.changed == (hidden != text)


@pytest.mark.parametrize("piece", [4096, 65_536])
def test_bytes_that_are_no_text_stay(piece: int) -> None:
    data = bytes(range(256)) * 1000
    body = hiding(SECRET).body()
    pieces = [data[at : at + piece] for at in range(0, len(data), piece)]
    assert b"".join(body.run(pieces)) == data
    assert not body.changed


def test_a_run_of_base64_without_end_is_hidden_from_the_secret_on() -> None:
    run = base64.b64encode(b"tide" * 16_000 + SECRET.encode() * 2 + b"tide" * 9_000)
    body = hiding(SECRET).body(same_size=True)
    clean = b"".join(body.run(run[at : at + 9000] for at in range(0, len(run), 9000)))
    assert len(clean) == len(run)
    assert not holds(clean)
    assert body.changed


def test_without_secrets_bytes_go_straight_through() -> None:
    body = hiding().body()
    assert [body.feed(b"ab"), body.finish()] == [b"ab", b""]


@pytest.mark.parametrize("name", ["page_token", "pageToken", "NextToken", "continuation-token", "synctoken"])
def test_where_a_list_goes_on_is_no_secret(name: str, tmp_path: Path) -> None:
    """Names that are common practice. Were the values hidden, one page would answer for every other."""
    made = folder(tmp_path)
    for page in "12":
        made.add(answered(Asked("GET", f"{URL}?{name}={page}"), body=page.encode()))
    (second,) = made.find(Asked("GET", f"{URL}?{name}=2"))
    assert second.asked.url == f"{URL}?{name}=2"
    assert hiding(names=[name]).asked(second.asked).url == f"{URL}?{name}=***"


def test_what_was_typed_for_something_hidden_is_hidden_too() -> None:
    """An ASK with args, which the catalogue puts into the query and into header fields."""
    asked = Asked(
        "GET",
        "https://tides.example/n?password=M%C3%B6we+%227%22&n=1",
        (("X-Api-Key", "o'clock"), ("Authorization", "Bearer berth12"), ("Cookie", "seat=12b; deck=1")),
        request='ASK N "möwe ""7""" "Möwe ""7""" 1 o\'clock berth12 "" 12b Bea mole',
    )
    kept = hiding().kept(answered(asked)).asked
    assert kept.request == 'ASK N "möwe ""7""" *** *** *** *** "" *** Bea mole'
    assert hiding().asked(replace(asked, request="")).request == ""


def test_request_headers_that_are_kept() -> None:
    headers = [
        ("Host", "tides.example"),
        ("Content-Length", "1"),
        ("Connection", "close"),
        ("User-Agent", "headrace"),
        ("Accept-Encoding", "gzip"),
        ("Authorization", "Basic bW9sZTp4"),
        ("proxy-authorization", "Basic bW9sZTp4"),
        ("X-Api-Key", "x"),
        ("Club", "x"),
        ("Accept", "text/plain"),
        ("If-None-Match", '"1"'),
        ("Cookie", "sid=one; theme=two"),
    ]
    made = hiding(names=["club"])
    kept = made.kept(answered(Asked("GET", URL, tuple(headers))))
    assert kept.asked.headers == (
        ("Accept", "text/plain"),
        ("If-None-Match", '"1"'),
        ("Cookie", "sid=hidden-1; theme=hidden-2"),
    )
    assert made.hidden == (
        "cookies of https://tides.example",
        "header Authorization of https://tides.example",
        "header Club of https://tides.example",
        "header X-Api-Key of https://tides.example",
        "header proxy-authorization of https://tides.example",
    )


def test_names_that_are_learned_later() -> None:
    made = hiding()
    asked = Asked("GET", f"{URL}?club=x", (("Club", "x"),))
    assert made.asked(asked) == asked
    made.learn(["CLUB"])
    assert made.asked(asked) == Asked("GET", f"{URL}?club=***")


def test_cookies_keep_what_is_not_secret() -> None:
    made = hiding()
    said = ("sid=one; Path=/; HttpOnly", "sid=two; Max-Age=3", "sid=one", "gone=; Max-Age=0", "odd")
    kept = made.kept(answered(Asked("GET", URL), *(("Set-Cookie", each) for each in said)))
    assert isinstance(kept.reply, Message)
    assert [value for _, value in kept.reply.headers] == [
        "sid=hidden-1; Path=/; HttpOnly",
        "sid=hidden-2; Max-Age=3",
        "sid=hidden-1",
        "gone=; Max-Age=0",
        "***",
    ]
    assert made.kept(kept) == kept


def test_only_so_many_cookies_are_known_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "RECORDED_COOKIES", 2)
    said = tuple(("Set-Cookie", f"sid={value}") for value in ("one", "two", "one", "three", "one"))
    kept = hiding().kept(answered(Asked("GET", URL), *said))
    assert isinstance(kept.reply, Message)
    assert [value for _, value in kept.reply.headers] == [
        f"sid=hidden-{number}" for number in (1, 2, 1, 3, 4)
    ]


def test_a_field_of_an_answer_that_is_named_like_a_secret() -> None:
    made = hiding()
    kept = made.kept(answered(Asked("GET", URL), ("X-Auth-Token", "abc"), ("X-Tide", "low")))
    assert isinstance(kept.reply, Message)
    assert kept.reply.headers == (("X-Auth-Token", "***"), ("X-Tide", "low"))
    assert "header X-Auth-Token of https://tides.example" in made.hidden


def test_where_a_redirect_leads_is_hidden_as_the_next_request() -> None:
    made = hiding()
    to = "https://mole:pw@tides.example/next?a=1&access_token=abc;sig=2&X-Amz-Signature=d"
    kept = made.kept(answered(Asked("GET", URL), ("Location", to), ("Link", "</x?token=a>; rel=next")))
    assert isinstance(kept.reply, Message)
    headers = dict(kept.reply.headers)
    assert headers["Location"] == (
        "https://***@tides.example/next?a=1&access_token=***;sig=2&X-Amz-Signature=***"
    )
    assert headers["Link"] == "</x?token=***>; rel=next"
    assert made.asked(Asked("GET", to)).url == headers["Location"].replace("***@", "")
    assert "user of https://tides.example" in made.hidden


def test_what_is_only_asked_is_not_listed() -> None:
    made = hiding()
    asked = Asked("GET", "http://mole:pw@tides.example/?token=a#top", (("Cookie", "a=b"),))
    assert made.asked(asked).url == "http://tides.example/?token=***"
    assert made.hidden == ()


def test_what_files_are_called() -> None:
    entry = Entry(b"caf\xe9 open-sesame", Kind.FILE, url="ftp://mole:pw@quay.example/open-sesame")
    listing = Listing((entry,), url="ftp://mole@quay.example/", origin="ftp://quay.example")
    told = Told(listing=listing, stat=Stat(Kind.FOLDER, origin="ftp://mole@quay.example"))
    kept = hiding("open-sesame").kept(Exchange(Asked("LIST", "ftp://quay.example/"), told, NOON)).reply
    assert isinstance(kept, Told)
    assert kept.listing is not None
    assert kept.listing.entries == (Entry(b"caf\xe9 ***", Kind.FILE, url="ftp://quay.example/***"),)
    assert kept.listing.url == "ftp://quay.example/"
    assert kept.stat == Stat(Kind.FOLDER, origin="ftp://quay.example")


def test_digests_of_a_changed_body_go(tmp_path: Path) -> None:
    headers = (("Repr-Digest", "sha-256=:AA==:"), ("Content-MD5", "AA=="), ("ETag", '"1"'))
    for body, left in ((b"open-sesame", headers[2:]), (b"nothing", headers)):
        made = folder(tmp_path / body.decode(), "open-sesame")
        made.add(answered(Asked("GET", URL), *headers, body=body))
        (kept,) = made.exchanges()
        assert isinstance(kept.reply, Message)
        assert kept.reply.headers == left
    told = Told(stat=Stat(Kind.FILE), content=Content(b""), digest=Digest("sha256", "00"))
    assert without_digests(told) == replace(told, digest=None)


def test_a_large_body_takes_no_long_time() -> None:
    """Of kinds that are hard: a word without end, all bytes there are, many places where it might begin."""
    hides = hiding("quiet-water")
    began = time.process_time()
    for body in (b"QUJD" * 500_000, bytes(range(256)) * 8_000, b"quiet quay %71 " * 130_000):
        pieces = (body[start : start + 65_536] for start in range(0, len(body), 65_536))
        assert b"".join(hides.body(same_size=True).run(pieces)) == body
    assert time.process_time() - began < 1.5  # alone it is a sixth of that


@pytest.mark.parametrize("cut", [1, 7, 10_000])
def test_what_only_begins_like_utf_32_hides_nothing(cut: int) -> None:
    """FFFFFFFFh is no character (Unicode ends at 10FFFFh), so these are bytes. A secret is one there too."""
    data = b"a\0\0\0\xff\xff\xff\xff and " + SECRET.encode() + b" and on"
    body = hiding(SECRET).body()
    shown = b"".join(body.run(data[at : at + cut] for at in range(0, len(data), cut)))
    assert not holds(shown)
    assert shown.startswith(b"a\0\0\0\xff\xff\xff\xff and ")
    assert shown.endswith(b" and on")


def test_an_endless_run_of_base64_with_a_secret_in_it() -> None:
    """It cannot be held until its end."""
    run = base64.b64encode(b"x" * 300 + SECRET.encode() + bytes(range(256)) * 8_000)
    data = run + b" plain again"
    body = hiding(SECRET).body()
    shown = b"".join(body.run(data[at : at + 5_000] for at in range(0, len(data), 5_000)))
    assert not holds(shown)
    assert shown.endswith(b" plain again")
