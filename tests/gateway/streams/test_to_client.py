"""What a far server sends, as the client's machine takes it."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.streams.to_client import RawToClient, ToClient, Translation
from gateway.wire.settings import Settings

PLAIN = Settings()
TEXT = (
    "Z\u00fcrich 5 \u20ac\n\r\nx\ry\0z\x1b[2J e\u0301 \u4f60\U0001f600 \x85\u2028|\u2500\r\n".encode()
    + b"\xe4\xff"
)


def all_of(made: Translation, *pieces: bytes) -> bytes:
    return b"".join(map(made.feed, pieces)) + made.finish()


@pytest.mark.parametrize(
    ("settings", "eol", "charset", "data", "wanted"),
    [
        (PLAIN, b"\r\n", "utf-8", b"a\nb\r\nc\rd\r\0e\n\n", b"a\r\nb\r\nc\r\nd\r\ne\r\n\r\n"),
        (PLAIN, b"\x9b", "utf-8", b"a\nb\r\n", b"a\x9bb\x9b"),
        (PLAIN, b"\r", "utf-8", b"\x07\x08\x09\x0c\x1b[1m\x7f\0", b"\x07\x08\x09\x0c\x1b[1m\x7f"),
        (PLAIN, b"\r", "utf-8", "Zürich  5 €".encode(), b"Zurich  5 EUR"),
        (PLAIN, b"\r", "utf-8", b"caf\xe9", b"cafe"),  # no UTF-8, and so Latin-1
        (PLAIN, b"\r", "cp437", b"\xc9\xcd\xbb", b"+-+"),
        (Settings(charset="cp437"), b"\r", "utf-8", "╔═╗é".encode(), b"\xc9\xcd\xbb\x82"),
        (Settings(charset="latin1"), b"\r", "utf-8", "é€".encode(), b"\xe9EUR"),
        (Settings(charset="latin1"), b"\r", "utf-8", b"caf\xe9 \xe8\xff", b"caf\xe9 \xe8\xff"),  # no UTF-8
        (Settings(charset="latin1", case="upper"), b"\r", "utf-8", "éÿ".encode(), b"\xc9\xff"),
        (Settings(charset="caseswap"), b"\r", "utf-8", b"Ab", b"aB"),
        (Settings(case="upper"), b"\r", "utf-8", "ab ß".encode(), b"AB SS"),
        (Settings(bits=7, charset="latin1"), b"\r", "utf-8", "é".encode(), b"e"),
        (Settings(charset="cp437", telnet="on"), b"\r", "utf-8", "\xa0".encode(), b" "),
        (Settings(charset="latin1", telnet="on"), b"\r", "utf-8", "ÿ".encode(), b"\xff\xff"),
    ],
)
def test_text(settings: Settings, eol: bytes, charset: str, data: bytes, wanted: bytes) -> None:
    assert all_of(ToClient(settings, eol, charset), data) == wanted


def test_the_catalogues_letters() -> None:
    assert all_of(ToClient(PLAIN, b"\r", "utf-8", {"ü": "ue"}), "ü".encode()) == b"ue"


@pytest.mark.parametrize(
    ("settings", "wanted"),
    [
        (PLAIN, b"\r\0\n\xff\x80"),
        (Settings(telnet="on"), b"\r\0\n\xff\xff\x80"),
        (Settings(bits=7, telnet="on"), b"\r\0\n\x7f\0"),
    ],
)
def test_raw(settings: Settings, wanted: bytes) -> None:
    assert all_of(RawToClient(settings), b"\r\0\n\xff\x80") == wanted


@given(st.lists(st.integers(0, len(TEXT))), st.sampled_from(["ascii", "latin1", "cp437"]))
def test_pieces_do_not_matter(cuts: list[int], charset: str) -> None:
    places = sorted({0, *cuts, len(TEXT)})
    pieces = [TEXT[start:end] for start, end in pairwise(places)]
    settings = Settings(charset=charset)
    assert all_of(ToClient(settings, b"\r\n", "utf-8"), *pieces) == all_of(
        ToClient(settings, b"\r\n", "utf-8"), TEXT
    )


@given(st.binary(), st.sampled_from(["utf-8", "cp437", "latin-1", "koi8-r"]))
def test_whatever_comes_a_plain_terminal_can_show_it(data: bytes, charset: str) -> None:
    assert all_of(ToClient(PLAIN, b"\r\n", charset), data).isascii()


def test_what_can_be_shown_is_shown_at_once() -> None:
    made = ToClient(PLAIN, b"\r\n", "utf-8")
    assert made.feed(b"login: ") == b"login: "
    assert made.feed(b"\r") == b"\r\n"
    assert made.feed(b"\n") == b""
    assert made.feed("é".encode()[:1]) == b""
    assert made.feed("é".encode()[1:]) == b"e"
