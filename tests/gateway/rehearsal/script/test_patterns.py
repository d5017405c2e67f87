"""Patterns: what they stand for, worked out again by Python's own regular expressions."""

import re
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.rehearsal.script.patterns import (
    Any,
    Like,
    Literal,
    Number,
    Part,
    Pattern,
    PatternFault,
    read_pattern,
    shown_bytes,
    shown_pattern,
)

WILD = {
    Any(): "(?s:.*)",
    Any(3): "(?s:.{3})",
    Number(): r"[+-]?[0-9]+(?:\.[0-9]+)?",
    Number(4): r"(?:(?= {0,3}[+-]?[0-9]+(?:\.[0-9]+)? {0,3}(?<=.)).{4})",
    Like("[ab]+"): "[ab]+",
}
literals = st.binary(min_size=1, max_size=4).map(Literal)
wilds = st.sampled_from([Any(), Any(3), Number(), Like("[ab]+"), Like(r"x{2,3}")])


def joined(parts: list[Part]) -> Pattern:
    """No two literals next to each other."""
    kept: list[Part] = []
    for part in parts:
        if kept and isinstance(part, Literal) and isinstance(kept[-1], Literal):
            kept[-1] = Literal(kept[-1].data + part.data)
        else:
            kept.append(part)
    return Pattern(tuple(kept))


pieces: st.SearchStrategy[Part] = st.one_of(literals, wilds)
patterns = st.lists(pieces, max_size=5).map(joined)


def expression(pattern: Pattern) -> re.Pattern[bytes]:
    """The same for `re`, which is the reference here."""
    wild = {**WILD, Like(r"x{2,3}"): "x{2,3}"}
    text = b"".join(
        re.escape(part.data) if isinstance(part, Literal) else wild[part].encode() for part in pattern.parts
    )
    return re.compile(text, re.DOTALL)


@given(patterns)
def test_there_and_back(pattern: Pattern) -> None:
    assert read_pattern(shown_pattern(pattern)) == pattern


@given(st.binary())
def test_bytes_stand_for_themselves(data: bytes) -> None:
    text = shown_bytes(data)
    assert re.fullmatch(r"[\x20-\x7e]*", text)
    assert read_pattern(text).matches(data)
    assert read_pattern(text).literal


@given(patterns, st.text("ab1-.x 0\\{", max_size=12).map(str.encode))
def test_as_regular_expressions_match(pattern: Pattern, data: bytes) -> None:
    reference = expression(pattern)
    assert pattern.matches(data) == (reference.fullmatch(data) is not None)
    ends = [end for end in range(len(data) + 1) if reference.fullmatch(data, 0, end)]
    assert pattern.first_end(data) == min(ends, default=None)


@given(patterns, st.text("ab1-.x 0", max_size=12).map(str.encode))
def test_columns_differ_where_it_does_not_match(pattern: Pattern, data: bytes) -> None:
    assert (pattern.differing(data) == []) == pattern.matches(data)


@pytest.mark.parametrize(
    ("text", "data", "matches"),
    [
        ("{number 6}|", b"  3.10|", True),
        ("{number 6}|", b"3.10  |", True),
        ("{number 6}|", b" 3. 10|", False),
        ("{number 6}|", b"      |", False),
        ("{number 6}|", b"   3.10|", False),
        ("{number}", b"-3.10", True),
        ("{number}", b"3.", False),
        ("{any}", b"", True),
        ("a{any 2}", b"a\r\n", True),
        ("{like [A-Z]{3,4}}", b"LOW", True),
        (r"\x41\{\}\\", b"A{}\\", True),
        ("{like caf\\xe9}", b"caf\xe9", True),
    ],
)
def test_examples(text: str, data: bytes, matches: bool) -> None:
    assert read_pattern(text).matches(data) is matches


def test_many_wild_parts_in_a_row_take_no_time() -> None:
    pattern = read_pattern("{any}a" * 60 + "{any}b")
    data = b"a" * 20_000
    began = time.monotonic()
    assert not pattern.matches(data)
    assert pattern.matches(data + b"b")
    assert time.monotonic() - began < 5


@pytest.mark.parametrize(
    ("text", "position", "why"),
    [
        ("ab{", 2, "means nothing"),
        ("ab}", 2, "means nothing"),
        (r"a\q", 1, "means nothing"),
        (r"a\x4", 1, "means nothing"),
        ("{some}", 0, "means nothing"),
        ("{any 0}", 5, "not 1 to 99999 columns"),
        ("{any " + "9" * 5_000 + "}", 5, "not 1 to 99999 columns"),
        ("a{like x{99999999999}}", 7, "repeats too often"),
        ("{number 100000}", 8, "not 1 to 99999 columns"),
        ("a{like [}", 7, "not a regular expression"),
        ("a{like x{2}", 7, "no brace"),
    ],
)
def test_mistakes(text: str, position: int, why: str) -> None:
    with pytest.raises(PatternFault, match=why) as caught:
        read_pattern(text)
    assert caught.value.position == position


@pytest.mark.parametrize(
    ("text", "data", "columns"),
    [
        ("200 00003", b"200 00002", [8]),
        ("200 00003", b"200 0000", [8]),
        ("200", b"200 ..", [3, 4, 5]),
        ("{number 4} m", b" 3.1 m", []),
        ("{number 4} m", b" low m", [0, 1, 2, 3]),
        ("a{any}z", b"abcz", []),
        ("a{any}z", b"abc", [1, 2]),
    ],
)
def test_columns(text: str, data: bytes, columns: list[int]) -> None:
    assert read_pattern(text).differing(data) == columns


def test_a_fixed_width() -> None:
    assert read_pattern("ab{any 3}{number 2}").width == 7
    assert read_pattern("ab{any}").width is None
