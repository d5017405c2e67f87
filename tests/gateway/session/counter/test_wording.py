"""How lines look."""

import pytest

from gateway.session.counter.wording import HELP, PIECE_BYTES, Writing, counted, greeting
from gateway.wire.settings import Settings


@pytest.mark.parametrize("columns", [16, 22, 32, 40, 80])
def test_no_line_is_wider_than_the_terminal(columns: int) -> None:
    writing = Writing(Settings(cols=columns, eol="crlf"))
    for each in (*HELP, greeting("CLUB", writable=True)):
        lines = writing.sentence(each).split(b"\r\n")
        assert lines.pop() == b""
        assert max(map(len, lines)) <= columns
        assert b" ".join(lines).split() == each.encode().split()


def test_help_needs_no_wrapping_at_forty_columns_but_for_its_sentences() -> None:
    assert all(len(each) <= 40 for each in HELP[:-2])


def test_line_ends_capitals_and_charset() -> None:
    assert Writing(Settings(eol="cr", case="upper")).sentence("Not there") == b"NOT THERE\r"
    assert Writing(Settings(eol="9b")).sentence("a") == b"a\x9b"
    assert Writing(Settings(eol="lf", charset="caseswap")).sentence("Ab") == b"aB\n"
    assert Writing(Settings(eol="lf", charset="latin1")).sentence("Höhe") == b"H\xf6he\n"


def test_records_go_in_pieces_without_their_last_blanks() -> None:
    pieces = list(Writing(Settings(eol="crlf")).pieces(f"{each:<40}" for each in range(1_000)))
    assert b"".join(pieces) == b"".join(b"%d\r\n" % each for each in range(1_000))
    assert all(PIECE_BYTES <= len(each) < PIECE_BYTES + 42 for each in pieces[:-1])


def test_bytes_in_words() -> None:
    assert (counted(0), counted(1), counted(2)) == ("0 bytes", "1 byte", "2 bytes")


def test_what_fills_its_last_piece_has_no_empty_one_behind_it() -> None:
    writing = Writing(Settings())
    record = "x" * (PIECE_BYTES - 2)
    assert list(writing.pieces([record])) == [record.encode() + b"\r\n"]
    assert list(writing.pieces([])) == []
