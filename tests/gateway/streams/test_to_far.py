"""What a client types into a stream, as the far server takes it."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.streams.to_far import FromClient, ToFar
from gateway.wire.settings import Settings

PLAIN = Settings()


@pytest.mark.parametrize(
    ("settings", "eol", "charset", "data", "wanted"),
    [
        (PLAIN, b"\n", "utf-8", b"a\rb\r\nc\nd\r\0e\x9bf\r\r", b"a\nb\nc\nd\ne\nf\n\n"),
        (PLAIN, b"\r\n", "utf-8", b"\n\r\n", b"\r\n\r\n"),
        (PLAIN, b"\n", "utf-8", b"\x03\x08\x7f\x1b[A\0", b"\x03\x08\x7f\x1b[A"),
        (PLAIN, b"\n", "utf-8", b"caf\xe9", b"caf?"),  # no ASCII
        (Settings(charset="latin1"), b"\n", "utf-8", b"caf\xe9\x9b", "café\x9b".encode()),
        (Settings(charset="cp437"), b"\n", "latin-1", b"caf\x82\xc9", b"caf\xe9?"),
        (Settings(charset="caseswap"), b"\n", "utf-8", b"Ab", b"aB"),
        (Settings(charset="latin1"), b"\n", "utf-8", b"a\rXb\nXc\r\n", b"a\nXb\nXc\n"),
        (
            Settings(charset="cp037"),
            b"\n",
            "utf-8",
            b"\x05\x08\xc1\r",
            b"\x05\x08A\n",
        ),  # the line's own, not EBCDIC's
    ],
)
def test_text(settings: Settings, eol: bytes, charset: str, data: bytes, wanted: bytes) -> None:
    assert ToFar(settings, eol, charset).feed(data) == wanted


@given(st.text("a\r\n\0+\x9b", max_size=20), st.lists(st.integers(0, 20)))
def test_pieces_do_not_matter(text: str, cuts: list[int]) -> None:
    data = text.encode("latin-1")
    whole, pieces = ToFar(PLAIN, b"\n", "utf-8"), ToFar(PLAIN, b"\n", "utf-8")
    places = sorted({0, *(min(each, len(data)) for each in cuts), len(data)})
    parts = (data[start:end] for start, end in pairwise(places))
    assert b"".join(map(pieces.feed, parts)) == whole.feed(data)


@pytest.mark.parametrize(
    ("settings", "wanted", "owed"),
    [
        (PLAIN, b"a\xff\xfd\x03b\xff\xffc", b""),
        (Settings(telnet="on"), b"ab\xffc", b"\xff\xfc\x03"),  # DO is refused with WONT: RFC 854
        (Settings(bits=7, telnet="on"), b"a\x7f\x7d\x03b\x7f\x7fc", b""),
    ],
)
def test_what_the_clients_line_adds(settings: Settings, wanted: bytes, owed: bytes) -> None:
    made = FromClient(settings)
    data = b"a\xff\xfd\x03b\xff\xffc"
    assert b"".join(made.feed(data[place : place + 1]) for place in range(len(data))) == wanted
    assert bytes(made.output) == owed
    assert FromClient(settings).feed(data) == wanted
