"""Calls: what is sent for a request, and what is refused before anything is."""

import json
import urllib.parse

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import HeadraceError, WrongWords
from adapters.port import Call, CredentialKind, Credentials, Reach
from gateway.catalogue.calling.calls import ACCEPT, build_call, decode_word, read_args, ref_call
from gateway.catalogue.calling.targets import read_ref
from gateway.catalogue.model import Arg, ArgKind, Catalogue
from gateway.extract.plan import Format
from tests.gateway.catalogue.example import example
from tests.gateway.catalogue.marked import load, source

CATALOGUE = example()


def call(name: str, *args: str, lines: bytes | None = None) -> Call:
    return build_call(CATALOGUE, CATALOGUE.sources[name], args, lines)


def one(url: str, lines: str = "args = ['x']") -> Catalogue:
    return load(source(lines, url=f'url = "{url}"'))


def test_a_whole_call() -> None:
    assert call("TIDES", "Quay", "5") == Call(
        url="https://tides.example/v1/HBR-01/events?day=5",
        headers=(("Accept-Language", "en"), ("X-Day", "day 5")),
        accept=ACCEPT[Format.JSON],
        credentials=Credentials(CredentialKind.HEADER, "X-Key", "k-1234"),
        ca="certs/tides.pem",
        reach=Reach(CATALOGUE.origins_for("https"), ("192.0.2.0/24", "2001:db8::1", "printer.example")),
    )


def test_a_changing_call() -> None:
    made = call("SCORE", "Ada", "+0120", "1.50")
    assert (made.method, made.changes, made.media_type) == ("POST", True, "application/json")
    assert made.body is not None
    assert json.loads(made.body) == {
        "player": "Ada",
        "points": 120,
        "time": 1.5,
        "tags": ["by Ada", 1.5, True],
    }
    assert made.credentials == Credentials(CredentialKind.BASIC, "gate", "s-99")


def test_other_bodies() -> None:
    assert call("SIGNUP", "a&b").body == b"player=a%26b&kind=new&kind=guest&n=1"
    assert call("BERTH", "<&>").body == (
        b'<?xml version="1.0"?>\n<berth ship="&lt;&amp;&gt;"><name>&lt;&amp;&gt;</name></berth>'
    )
    assert call("LOG", lines=b"one\n").body == b"one\n"


def test_a_place_gives_its_url_its_login_and_its_certificates() -> None:
    made = call("LIST", "north pier", "1890")
    assert made.url == "https://files.example/pub/lists/north%20pier.csv?year=1890"
    assert made.credentials == Credentials(CredentialKind.BASIC, "reader", "club-secret")
    assert made.ca == "certs/club.pem"


def test_headers_of_the_catalogue_may_say_what_is_sent_and_wanted() -> None:
    catalogue = load(
        source(
            "method = 'POST'\nheaders = { content-TYPE = 'text/x', ACCEPT = 'text/y', Z = 'z' }\nbody = 'b'"
        )
    )
    made = build_call(catalogue, catalogue.sources["A"], [])
    assert (made.media_type, made.accept, made.headers) == ("text/x", "text/y", (("Z", "z"),))


@pytest.mark.parametrize("name", list(Format))
def test_every_format_asks_for_something_and_takes_anything(name: Format) -> None:
    assert "*/*" in ACCEPT[name]


# Args

WANTED = (Arg("station"), Arg("day", ArgKind.INT), Arg("limit", ArgKind.FIXED))


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ((), "Wanted: STATION DAY LIMIT"),
        (("a",), "Wanted: DAY LIMIT"),
        (("a", "1", "2", "3"), "Too many words; wanted: STATION DAY LIMIT"),
        (("a", "x", "2"), "DAY is a whole number"),
        (("a", "1.5", "2"), "DAY is a whole number"),
        (("a", "1", "2e3"), "LIMIT is a number"),
        (("a\x07", "1", "2"), "STATION holds a control character"),
        (("a%0d%0ab", "1", "2"), "STATION holds a control character"),
        (("a%E2%80%A8", "1", "2"), "STATION holds a control character"),
    ],
)
def test_wrong_words(typed: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(WrongWords) as caught:
        read_args(WANTED, typed)
    assert caught.value.sentence == sentence


def test_a_source_without_args_takes_no_words() -> None:
    with pytest.raises(WrongWords, match="This source takes no words"):
        call("NOTICES", "x")


@pytest.mark.parametrize("typed", ["quay", "QUAY", "Qu%61y"])
def test_choices_are_case_blind(typed: str) -> None:
    assert call("TIDES", typed, "5").url == "https://tides.example/v1/HBR-01/events?day=5"


@pytest.mark.parametrize("typed", ["HBR-01", "pier", ""])
def test_what_is_no_choice(typed: str) -> None:
    with pytest.raises(WrongWords, match="STATION is one of QUAY MOLE"):
        call("TIDES", typed, "5")


@pytest.mark.parametrize(
    ("word", "text"),
    [
        ("a%20b", "a b"),
        ("caf%C3%A9", "café"),
        ("caf%E9", "café"),
        ("%e9%C3%A9", "éÃ©"),  # one run that is no UTF-8 is Latin-1 whole
        ("%e9 %C3%A9", "é é"),
        ("50%", "50%"),
        ("%zz%4", "%zz%4"),
        ("%2541", "%41"),
        ("é%41", "éA"),
    ],
)
def test_triplets_are_decoded_once(word: str, text: str) -> None:
    """RFC 3986 section 2.4: never decode twice."""
    assert decode_word(word) == text


@given(st.text(st.characters(codec="utf-8"), max_size=20))
def test_quoted_words_come_back(text: str) -> None:
    assert decode_word(urllib.parse.quote(text, safe="")) == text


@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x2FF), max_size=30))
def test_an_arg_reaches_the_server_as_it_was_typed_and_nowhere_else(text: str) -> None:
    """Against urllib.parse: host, path and query stay apart, and the value comes back from each."""
    catalogue = one("https://a.example/v1/{x}/list{?x}")
    word = urllib.parse.quote(text, safe="")
    try:
        made = build_call(catalogue, catalogue.sources["A"], [word])
    except WrongWords:
        assert (
            text in {".", ".."}
            or not text.isprintable()
            or any(part in {".", ".."} for part in text.replace("\\", "/").split("/"))
        )
        return
    parts = urllib.parse.urlsplit(made.url)
    assert parts.netloc == "a.example"
    assert [urllib.parse.unquote(each) for each in parts.path.split("/")] == ["", "v1", text, "list"]
    assert urllib.parse.parse_qsl(parts.query, keep_blank_values=True) == [("x", text)]


@pytest.mark.parametrize("typed", ["..", ".", "%2e%2e", "../..", "a/../b", "..\\x"])
@pytest.mark.parametrize(
    "url", ["https://a.example/v1/{+x}/list", "https://a.example/v1/{x}", "https://a.example{/x}"]
)
def test_dots_lead_nowhere(url: str, typed: str) -> None:
    catalogue = one(url)
    with pytest.raises(WrongWords):
        build_call(catalogue, catalogue.sources["A"], [typed])


def test_dots_that_are_encoded_twice_lead_nowhere_where_triplets_pass() -> None:
    catalogue = one("https://a.example/v1/{+x}/list")
    with pytest.raises(WrongWords):
        build_call(catalogue, catalogue.sources["A"], ["%252e%252e"])
    catalogue = one("https://a.example/v1/{x}/list")
    assert build_call(catalogue, catalogue.sources["A"], ["%252e"]).url == "https://a.example/v1/%252e/list"


def test_a_dot_among_others_is_no_dot_segment() -> None:
    catalogue = one("https://a.example/v1/{x}.json")
    assert build_call(catalogue, catalogue.sources["A"], [".."]).url == "https://a.example/v1/...json"


def test_a_header_takes_plain_ascii_only() -> None:
    catalogue = one("https://a.example/", "args = ['x']\nheaders = { X = '{x}' }")
    assert build_call(catalogue, catalogue.sources["A"], [" a "]).headers == (("X", "a"),)
    with pytest.raises(WrongWords):
        build_call(catalogue, catalogue.sources["A"], ["%C3%A9"])


def test_the_host_that_a_choice_makes_is_named() -> None:
    catalogue = one("https://{x}.example:81/", "args = ['x']\nchoices = { x = { n = 'north' } }")
    assert build_call(catalogue, catalogue.sources["A"], ["N"]).reach.named == {("north.example", 81)}


@given(st.lists(st.text(max_size=8), max_size=3), st.sampled_from(sorted(CATALOGUE.sources)))
def test_any_words_make_a_call_or_a_sentence(words: list[str], name: str) -> None:
    try:
        made = call(name, *words)
    except HeadraceError as error:
        assert error.code in {501, 532}
        return
    assert made.url.isascii()
    assert made.url.isprintable()
    assert " " not in made.url
    assert all(value.isascii() and value.isprintable() for _, value in made.headers)


def test_the_document_of_a_ref() -> None:
    made = ref_call(CATALOGUE, read_ref(CATALOGUE, "Club:a/b.json?x=1"))
    assert made == Call(
        url="https://files.example/pub/a/b.json?x=1",
        accept=ACCEPT[Format.AUTO],
        credentials=Credentials(CredentialKind.BASIC, "reader", "club-secret"),
        ca="certs/club.pem",
        reach=Reach(CATALOGUE.origins_for("https"), CATALOGUE.gateway.allow),
        root="https://files.example/pub/",
    )
    typed = ref_call(CATALOGUE, read_ref(CATALOGUE, "https://data.example/x"), Format.CSV)
    assert (typed.credentials, typed.ca, typed.root, typed.accept) == (None, None, "", ACCEPT[Format.CSV])


def test_a_source_at_a_place_may_not_leave_it() -> None:
    assert call("LIST", "a", "1").root == "https://files.example/pub/"
    assert call("TIDES", "Quay", "5").root == ""
