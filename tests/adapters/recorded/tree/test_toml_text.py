"""The text is read by tomllib of the standard library, which is TOML 1.0."""

import tomllib
from datetime import UTC, datetime

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from adapters.files import Entry, Kind, Listing
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Message, Told
from adapters.recorded.tree.bodies import files_of
from adapters.recorded.tree.table import TextFault
from adapters.recorded.tree.toml_text import Files, name_text, read, written
from tests.adapters.recorded.exchanges import NOON, entries, exchanges, got, names

WHOLE = """\
at = 2026-05-17T12:00:00Z
took = 0.25
times = 2

[request]
for = "ASK TIDES MOLE"
method = "GET"
url = "https://tides.example/mole.json"
headers = ["Accept: application/json"]

[response]
status = 200
headers = ["Content-Type: application/json", "Vary: Accept"]
body = "mole.1.json"
"""
BODY = Content(b"{}")
ODD = "a line break, NUL or a character beyond Latin-1"


def found(name: str) -> Content | None:
    return BODY if name == "mole.1.json" else None


def mistakes(text: str) -> list[str]:
    with pytest.raises(TextFault) as raised:
        read(text, found)
    return raised.value.mistakes


def test_a_file_as_somebody_writes_it() -> None:
    asked = Asked(
        "GET",
        "https://tides.example/mole.json",
        (("Accept", "application/json"),),
        request="ASK TIDES MOLE",
    )
    reply = Message(200, (("Content-Type", "application/json"), ("Vary", "Accept")), BODY)
    assert read(WHOLE, found) == Exchange(asked, reply, NOON, 0.25, 2)


@given(exchanges())
def test_what_is_written_is_read_back(exchange: Exchange) -> None:
    body = None if isinstance(exchange.reply, Failure) else exchange.reply.content
    contents = {"asked.bin": exchange.asked.body, "reply.bin": body}
    text = written(exchange, Files(asked="asked.bin", reply="reply.bin"))
    assert read(text, contents.get) == exchange


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
@example('one\r\ntwo\n"""\\')
def test_a_request_s_text_is_read_back(text: str) -> None:
    exchange = Exchange(Asked("POST", "http://a.example/", body=Content(text.encode())), Message(204), NOON)
    assert read(written(exchange, Files(text=text)), found) == exchange


@given(names)
@example(b"caf\xc3\xa9")
@example(b"caf\xe9")
@example(b"100%41")
@example(b"\x7f\x80\x00")
def test_a_name_comes_back_byte_for_byte(name: bytes) -> None:
    listing = Listing((Entry(name, Kind.FILE),))
    exchange = Exchange(Asked("LIST", "ftp://tides.example/"), Told(listing=listing), NOON)
    assert read(written(exchange, files_of(exchange)), found) == exchange


def test_a_name_is_readable_where_it_is_utf_8() -> None:
    assert name_text("tide tables/übersicht 潮.txt".encode()) == "tide tables/übersicht 潮.txt"
    assert name_text(b"caf\xe9 100%.txt") == "caf%E9 100%25.txt"  # Latin-1
    assert name_text(b"a\nb") == "a%0Ab"


@given(st.lists(entries, min_size=1, max_size=6))
def test_each_entry_has_its_line_or_table(listed: list[Entry]) -> None:
    exchange = Exchange(Asked("LIST", "ftp://tides.example/"), Told(listing=Listing(tuple(listed))), NOON)
    values = tomllib.loads(written(exchange, files_of(exchange)))
    assert [each["name"] for each in values["answer"]["listing"]["entry"]] == [
        name_text(each.name) for each in listed
    ]


def test_one_value_is_one_line() -> None:
    one, other = (got("https://tides.example/mole.json") for _ in range(2))
    other = Exchange(other.asked, Message(200, (("Content-Type", "text/plain"),), BODY), NOON, 0.25)
    lines = [written(each, files_of(each)).splitlines() for each in (one, other)]
    assert len(lines[0]) == len(lines[1])
    assert sum(left != right for left, right in zip(*lines, strict=True)) == 1


def test_all_mistakes_are_told_at_once() -> None:
    text = WHOLE.replace("at = 2026-05-17T12:00:00Z", "at = 2026-05-17T12:00:00")
    text = text.replace('"Vary: Accept"', '"Vary"').replace("status = 200", "status = 1000\ncolour = 1")
    text = text.replace("mole.1.json", "gone.json", 2).replace("https://tides.example/gone.json", "/mole")
    text = text.replace("times = 2", "times = 0").replace("took = 0.25", 'took = "long"')
    assert sorted(mistakes(text)) == [
        "at: a time without its zone, such as Z",
        "response.body: there is no file 'gone.json' beside it",
        "response.colour: there is no such key",
        'response.headers[2]: not "Name: value"',
        "response.status: not 100 to 999",
        "times: below 1",
        "took: not a number",
    ]


@pytest.mark.parametrize(
    ("old", "new", "mistake"),
    [
        ("at = 2026-05-17T12:00:00Z\n", "", "at: missing"),
        ('method = "GET"\n', "", "request.method: missing"),
        ('method = "GET"', "method = 1", "request.method: not a text"),
        ("https://tides.example/mole.json", "tides.example/mole.json", "request.url: not an absolute URL"),
        ("Accept: app", "Accept: \\nX: app", f"request.headers[1]: {ODD}"),
        ("Accept: app", "Accept: €", f"request.headers[1]: {ODD}"),
        ('"GET"', '"GET\\r\\nX: y"', "request.method: no name of a method"),
        ("/mole.json", "/\\u000amole", "request.url: a control character in a URL"),
        ("/mole.json", "/\\u007f", "request.url: a control character in a URL"),
        ("status = 200", "", "response.status: missing"),
        ("status = 200", "status = true", "response.status: not a whole number"),
        ("[response]", "[answer]", "answer.status: there is no such key"),
        ("[response]", "[reply]", "response: one of [response], [answer] and [failure] is needed"),
        ("[request]", "[request]\ntext = 'a'\nbody = 'mole.1.json'", "request.text: there is a body already"),
        ("[request]", "response = 7\n[request]", "response: not a table"),
        ("status = 200", "status = 200\nfailure.error = 'Odd'",
         "response.failure.error: none of the gateway's errors"),
    ],
)  # fmt: skip
def test_a_mistake(old: str, new: str, mistake: str) -> None:
    assert old in WHOLE
    text = WHOLE.replace(old, new)
    if new.startswith("response"):
        text = text.partition("[response]")[0]
    assert mistake in mistakes(text)


@pytest.mark.parametrize(
    ("answer", "method", "mistake"),
    [
        ("", "LIST", "answer.listing: missing: it is what LIST gives"),
        ("stat.kind = 'file'", "READ", "answer.body: missing: it is what READ gives"),
        ("stat.kind = 'disk'", "STAT", "answer.stat.kind: none of file, folder, link"),
        ("listing.entry = [{name = 'a/b', kind = 'file'}]", "LIST",
         "answer.listing.entry[1].name: not the name of one entry"),
        ("listing.entry = [{kind = 'file'}, 3]", "LIST", "answer.listing.entry[1].name: missing"),
        ("listing.entry = [{kind = 'file'}, 3]", "LIST", "answer.listing.entry[2]: not a table"),
    ],
)  # fmt: skip
def test_a_mistake_in_an_answer(answer: str, method: str, mistake: str) -> None:
    text = (
        f"at = 2026-05-17T12:00:00Z\n[request]\nmethod='{method}'\nurl='ftp://a.example/'\n[answer]\n{answer}"
    )
    assert mistake in mistakes(text)


def test_no_toml_at_all() -> None:
    assert "line 2" in mistakes("at = 2026-05-17T12:00:00Z\nrequest = {{\n")[0]


def test_other_zones_and_layouts_mean_the_same() -> None:
    text = WHOLE.replace("2026-05-17T12:00:00Z", "2026-05-17 14:00:00+02:00")
    assert read(text, found).at == datetime(2026, 5, 17, 12, tzinfo=UTC)
