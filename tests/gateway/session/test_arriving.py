"""A new line's first bytes, read as its own and as the lost line's."""

import itertools
from collections.abc import Iterable
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.model import Catalogue
from gateway.session.arriving import Arrival, request_name, starts_afresh
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.wire.lines import End, Line, LineReader
from gateway.wire.settings import Settings, change

PLAIN = Settings()
CRC = change(PLAIN, [("check", "crc")])


def line(text: str, overlong: bool = False) -> Line:
    data = text.encode("latin-1")
    return Line(data, End.CR, "crlf", overlong, sent=data)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("AGAIN", "AGAIN"),
        ("? aga 3", "AGAIN"),
        ("'again' 3", "AGAIN"),
        (" AGAIN *12", "AGAIN"),
        ("AG", ""),
        ("AGAINST", ""),
        ("ask 'x", "ASK"),
        ("", ""),
        ("   ", ""),
        ("'", ""),
        (">data", ""),
        ("\xe4gain", ""),
        ("AGA\x07IN", ""),
    ],
)
def test_the_name_of_a_request(text: str, name: str) -> None:
    assert request_name(line(text), PLAIN) == name


def test_a_line_too_long_has_none() -> None:
    assert request_name(line("ASK tides", overlong=True), PLAIN) == ""


@pytest.mark.parametrize(
    ("text", "settings", "afresh"),
    [
        ("ASK tides", PLAIN, True),
        ("HALT", PLAIN, True),
        ("BYE", PLAIN, True),
        ("AGAIN", PLAIN, False),
        ("MORE", PLAIN, False),
        ("ASL tides", PLAIN, False),
        ("", PLAIN, False),
        ("NOOP", CRC, True),
        ("NOOP *0000", CRC, False),
        ("NOOP *0000", PLAIN, True),
    ],
)
def test_what_starts_afresh(text: str, settings: Settings, afresh: bool) -> None:
    assert starts_afresh(line(text), settings) == afresh


def test_nothing_and_what_is_no_line_does_not() -> None:
    assert not starts_afresh(None, PLAIN)


def changed(words: str) -> Settings:
    name, _, value = words.partition("=")
    return change(PLAIN, [(name, value)] if name else [])


def kept_session(settings: Settings) -> Session:
    session = Session(World(Catalogue, lambda: datetime.now(UTC)), "PLAIN")
    session.reader.settings = settings
    return session


def decide(lost: Session | None, own: Settings, pieces: Iterable[bytes]) -> tuple[str, bytes, bytes]:
    """What the first request decides, its line, and what came behind it, as a connection goes about it."""
    arrival, reader = Arrival(lambda: lost), LineReader(own)
    told, behind, deciding = "", b"", reader
    for piece in pieces:
        if told:
            behind += piece
            continue
        arrival.feed(piece, reader.pending)
        reader.feed(piece)
        while not told:
            event = reader.next_event()
            again = arrival.again(reader.pending)
            if again is not None and arrival.reader is not None:
                told, deciding, found = "again", arrival.reader, again.data
            elif starts_afresh(event, own):
                assert isinstance(event, Line)
                told, found = "afresh", event.data
            elif event is None:
                break
    if not told:
        return "", b"", b""
    return told, found, bytes(deciding._pending) + behind


SCRAPS = st.sampled_from(
    (
        *(b"AGAIN\r", b"AGAIN 2\r\n", b"NOOP x\r", b"MORE\n", b"\r", b"\x18", b"garble\r", b"\x9b", b"AGA"),
        *(b"\x8d", b"\xff\xfb\x01", b"\x08", b"Z" * 300, b"? AGAIN\r\0"),
        bytes(each | 0x80 for each in b"AGAIN\r"),
    )
)


@given(
    st.lists(SCRAPS, max_size=8).map(b"".join),
    st.lists(st.integers(0, 60)),
    st.sampled_from(["", "bits=7", "charset=latin1", "check=crc"]),
    st.sampled_from(["", "bits=7", "charset=latin1"]),
)
def test_chunking_never_matters(data: bytes, cuts: list[int], kept: str, own: str) -> None:
    lost, mine = (changed(words) for words in (kept, own))
    session = kept_session(lost)
    edges = sorted({0, len(data), *(each for each in cuts if each < len(data))})
    pieces = [data[start:end] for start, end in itertools.pairwise(edges)]
    whole = decide(session, mine, [data])
    assert decide(session, mine, pieces) == whole
    assert decide(session, mine, [bytes((byte,)) for byte in data]) == whole


def test_without_a_lost_line_there_is_nothing_to_take_up() -> None:
    assert decide(None, PLAIN, [b"AGAIN\rAGAIN\r"])[0] == ""
    assert decide(None, PLAIN, [b"AGAIN\rNOOP\rAGAIN\r"]) == ("afresh", b"NOOP", b"AGAIN\r")


def test_what_the_client_is_used_to_comes_along() -> None:
    """A bare CR answered as it came, FFh doubled for who spoke telnet (RFC 854), counted bytes after a CR."""
    reader = LineReader(change(PLAIN, [("eol", "mirror")]))
    reader.feed(b"\xff\xfb\x01NOOP\rNOOP\r")
    while reader.next_event() is not None:
        pass
    reader.feed(b"half a line")
    assert reader.next_event() is None
    fresh = reader.reconnected()
    fresh.feed(b"AGAIN\r")
    event = fresh.next_event()
    assert isinstance(event, Line)
    assert (event.data, event.mirror, fresh.negotiated, fresh.take_output()) == (b"AGAIN", "cr", True, b"")


def test_a_line_lost_meanwhile_is_seen_by_a_line_that_was_there_already() -> None:
    lost: list[Session] = []
    arrival, reader = Arrival(lambda: lost[0] if lost else None), LineReader(PLAIN)
    for data in (b"garble\r", b"AGAIN 3\r"):
        arrival.feed(data, reader.pending)
        reader.feed(data)
        assert reader.next_event() is not None
        again = arrival.again(reader.pending)
        lost.append(kept_session(PLAIN))
    assert again is not None
    assert again.data == b"AGAIN 3"
