"""Blocks: link numbers that no page can forge, margins, verbatim text."""

import pytest

from gateway.extract.fields.text import Lettering
from gateway.extract.texts.blocks import (
    Margin,
    Paragraph,
    Verbatim,
    marker,
    paragraph_lines,
    spelt,
    verbatim_lines,
)

ASCII = Lettering("ascii")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (f"see here{marker(3)}.", "see here [3]."),
        (f"see here {marker(3)} and", "see here [3] and"),
        (f"{marker(1)}", "[1]"),
        (f"a{marker(1)}{marker(2)}b", "a [1] [2]b"),
        ("cited[12] twice [3]", "cited(12) twice (3)"),
        ("［1］ in wide letters", "(1) in wide letters"),
        ("x[i] and []", "x[i] and []"),
    ],
)
def test_a_bracketed_number_is_always_a_link(text: str, line: str) -> None:
    assert spelt(text, ASCII) == [line]


def test_blank_lines_go_at_the_edges_only() -> None:
    assert spelt("\n \na\n\nb\n", ASCII) == ["a", "", "b"]
    assert spelt(" \n ", ASCII) == [""]


def test_a_number_is_never_cut() -> None:
    text = "".join(f"abcdefghijklmnopqrst{marker(number)}" for number in range(99_990, 100_010))
    lines = list(paragraph_lines(Paragraph(text), ASCII, 16))
    found = [word for line in lines for word in line.split() if word.startswith("[")]
    assert all(f"[{number}]" in "".join(found) for number in range(99_990, 100_010))
    assert all("[" not in word or "]" in word for word in found)


def test_an_underline_is_as_long_as_the_longest_line() -> None:
    assert list(paragraph_lines(Paragraph("High water today", "="), ASCII, 12)) == [
        "High water",
        "today",
        "==========",
    ]
    assert list(paragraph_lines(Paragraph("\u200d", "="), ASCII, 12)) == [""]


def test_verbatim_text_keeps_its_lines_blanks_and_brackets() -> None:
    text = f"10 A[1]=2\n\t20  END\n\nlist.bas{marker(7)}   12K"
    assert list(verbatim_lines(Verbatim(text), ASCII, 40)) == [
        "10 A[1]=2",
        "        20  END",
        "",
        "list.bas [7]   12K",
    ]


def test_a_margin_leaves_half_of_the_width() -> None:
    margin = Margin("* " * 20 + "1. ", " " * 43)
    assert margin.within(40) == Margin(" * * * * * * * * 1. ", " " * 20)
    assert Margin("* ", "  ").within(16) == Margin("* ", "  ")
