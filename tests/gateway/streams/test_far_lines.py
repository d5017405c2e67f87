"""What a far server sends, as records."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.streams.far_lines import FarLines
from gateway.wire.settings import Settings

PLAIN = Settings()


def taken(*pieces: bytes, width: int = 10, most: int = 99, over: bool = False) -> list[str]:
    made = FarLines(PLAIN, "utf-8")
    for piece in pieces:
        made.feed(piece)
    if over:
        made.finish()
    return [record.rstrip() for record in made.take(width, most)]


@pytest.mark.parametrize(
    ("data", "records"),
    [
        (b"", []),
        (b"one\r\ntwo\n\rlogin: ", ["one", "two", "", "login:"]),
        (b"\n\n", ["", ""]),
        (b"a line that is too long\n", ["a line", "that is", "too long"]),
        (b"\x1b[1;31mred\x1b[0m\x1b(B \x1b]0;title\x07x\x1b]8;;u\x1b\\y\x1b=z\n", ["red xyz"]),  # ECMA-48
        (b"a\tb\n", ["a       b"]),
        (b"abx\b\bcd\x07\x7f\n", ["acd"]),
        (b"\x1b", []),
        (b"a\x1b[3", ["a"]),
        (b"a\x1b]0;t", ["a"]),
        ("Zürich".encode(), ["Zurich"]),
    ],
)
def test_records(data: bytes, records: list[str]) -> None:
    assert taken(data) == records


def test_a_sequence_that_never_ends() -> None:
    assert taken(b"a\x1b[3", over=True) == ["a[3"]
    assert len(taken(b"a\x1b]" + b"t" * 1_000, most=999)) == 101
    assert taken(b"caf\xc3", over=True) == ["cafA"]


def test_no_more_than_wanted() -> None:
    made = FarLines(PLAIN, "utf-8")
    made.feed(b"one\ntwo words and some\nthree\nfour")
    assert made.take(10, 2) == ["one       ", "two words "]
    assert made.waiting > 0
    assert made.take(10, 2) == ["and some  ", "three     "]
    assert made.take(10, 2) == ["four      "]
    assert made.waiting == 0
    made.feed(b" more\n")
    assert made.take(10, 2) == [" more     "]


@given(st.lists(st.binary(max_size=20)), st.integers(16, 40))
def test_whatever_comes_records_are_records(pieces: list[bytes], width: int) -> None:
    made = FarLines(PLAIN, "utf-8")
    for piece in pieces:
        made.feed(piece)
        for record in made.take(width, 3):
            assert len(record) == width
            assert record.isascii()
            assert record.isprintable()


@given(st.lists(st.sampled_from([b"ab", b"\r", b"\n", b"\x1b[1m", b"\x1b", b"[2J", b"\xc3", b"\xa9"])))
def test_pieces_do_not_matter(pieces: list[bytes]) -> None:
    data = b"".join(pieces)
    assert taken(*pieces, over=True) == taken(data, over=True)
