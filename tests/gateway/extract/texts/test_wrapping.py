"""Wrapping one line: nothing but blanks at the breaks is lost, and nothing is too long."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.texts.wrapping import wrapped

LINES = st.text("ab [1]", max_size=120)


@pytest.mark.parametrize(
    ("line", "pieces"),
    [
        ("", [""]),
        ("   ", [""]),
        ("sixteen chars ok", ["sixteen chars ok"]),
        ("sixteen chars ok   ", ["sixteen chars ok"]),
        ("high water at six in the morning", ["high water at", "six in the", "morning"]),
        ("exactly sixteen! then more", ["exactly sixteen!", "then more"]),
        ("two  blanks   inside it stay", ["two  blanks", "inside it stay"]),
        ("    indented text goes on here", ["    indented", "text goes on", "here"]),
        ("abcdefghijklmnopqrstuvwxyz", ["abcdefghijklmnop", "qrstuvwxyz"]),
        ("a abcdefghijklmnopqrstuvwxyz", ["a", "abcdefghijklmnop", "qrstuvwxyz"]),
        ("             harbour is far in", ["         harbour", "is far in"]),
        ("                    far out", ["             far", "out"]),
        ("    abcdefghijklmnopqrstuvwxyz", ["    abcdefghijkl", "mnopqrstuvwxyz"]),
    ],
)
def test_breaks_stand_at_blanks(line: str, pieces: list[str]) -> None:
    assert list(wrapped(line, 16)) == pieces


@given(line=LINES, width=st.integers(8, 40))
def test_nothing_is_lost_or_too_long(line: str, width: int) -> None:
    pieces = list(wrapped(line, width))
    assert all(len(piece) <= width and not piece.endswith(" ") for piece in pieces)
    assert "".join(pieces).replace(" ", "") == line.replace(" ", "")
    assert len(pieces) == 1 or all(piece.strip(" ") for piece in pieces)


@given(line=LINES, width=st.integers(8, 40))
def test_a_word_that_fits_is_never_cut(line: str, width: int) -> None:
    words = [word for piece in wrapped(line, width) for word in piece.split()]
    wanted = [word for word in line.split() if len(word) <= width]
    cut_hard = [word for word in line.split() if len(word) > width]
    assert cut_hard or words == wanted


def test_a_word_too_long_for_a_line_is_not_indented_by_a_whole_one() -> None:
    assert list(wrapped(" " * 8 + "x" * 9, 8)) == ["x" * 8, "x"]
    assert list(wrapped(" " * 7 + "x" * 9, 8)) == [" " * 7 + "x", "x" * 8]
