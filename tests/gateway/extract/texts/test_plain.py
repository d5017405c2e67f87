"""Plain text: its lines stay, only long ones wrap (CONTRACT section 3, TEXT)."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.extract.fields.text import Lettering
from gateway.extract.texts.plain import plain_lines, source_lines

ASCII = Lettering("ascii")


def lines(text: str, width: int = 16, flow: bool = False) -> list[str]:
    return list(plain_lines(text, ASCII, width, flow))


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("", []),
        ("a", ["a"]),
        ("a\n", ["a"]),
        ("a\n\n", ["a", ""]),
        ("\na", ["", "a"]),
        ("a\r\nb\rc\nd\r\r\ne", ["a", "b", "c", "d", "", "e"]),
        ("a\n\rb", ["a", "", "b"]),
    ],
)
def test_any_line_ends(text: str, wanted: list[str]) -> None:
    assert lines(text) == wanted


@given(st.lists(st.tuples(st.text("ab ", max_size=5), st.sampled_from(["\r\n", "\n", "\r"]))))
def test_mixed_line_ends_are_as_many_lines(parts: list[tuple[str, str]]) -> None:
    text = "".join(line + end for line, end in parts)
    # str.splitlines knows these three ends too, and no others stand in the text.
    assert list(source_lines(text)) == text.splitlines()


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("a\n\fb\n", ["a", "", "b"]),
        ("a\n\f\nb\n", ["a", "", "b"]),
        ("a\fb", ["a", "", "b"]),
        ("a\n\f", ["a", ""]),
        ("\f\f", ["", ""]),
    ],
)
def test_a_form_feed_is_a_blank_line(text: str, wanted: list[str]) -> None:
    assert lines(text) == wanted


@given(st.lists(st.text("abc", max_size=10), min_size=1, max_size=5))
def test_tab_stops_are_every_eight(parts: list[str]) -> None:
    line = "\t".join(parts)
    assert lines(line or "x", 255) == [line.expandtabs(8).rstrip(" ") or ("" if line else "x")]


def test_tabs_count_what_is_printed() -> None:
    assert lines("Straße\tx\nß\tx", 40) == ["Strasse x", "ss      x"]


def test_a_line_of_tabs_stays_short() -> None:
    assert len(lines("\t" * 100_000 + "x", 40)) == 1


def test_long_lines_wrap_after_transliteration() -> None:
    assert lines("ßßßß ßßßß ß") == ["ssssssss", "ssssssss ss"]


@given(
    st.text(st.characters() | st.sampled_from("\r\n\t\f\x00\x1b\x85\u2028\u2029 ß\u200d👍🏽"), max_size=80)
)
def test_no_line_can_be_forged(text: str) -> None:
    for flow in (False, True):
        for line in lines(text, 16, flow):
            assert len(line) <= 16 and line.isascii() and line.isprintable()


@given(st.text("ab -1.\n\t", max_size=120), st.booleans())
def test_nothing_printable_is_lost(text: str, flow: bool) -> None:
    assert "".join("".join(lines(text, 16, flow)).split()) == "".join(text.split())


def test_without_flow_short_lines_stay() -> None:
    assert lines("one\ntwo\n\n  three\n") == ["one", "two", "", "  three"]


def test_flow_joins_the_lines_of_a_paragraph() -> None:
    text = "High water\nis at\nsix.\n\n\nLow water\nat noon.\n"
    assert lines(text, 40, flow=True) == ["High water is at six.", "", "", "Low water at noon."]


def test_flow_keeps_lists_and_indented_lines_apart() -> None:
    text = "Take:\n- a rope\n  and a hook\n* one\nmore\n1. first\n2) second\n\tx = 1\nend-of\n-line\n"
    assert lines(text, 40, flow=True) == [
        "Take:",
        "- a rope",
        "  and a hook",
        "* one more",
        "1. first",
        "2) second",
        "        x = 1 end-of -line",
    ]


@given(st.text(st.sampled_from("ab\r\n\f"), max_size=60), st.integers(1, 5))
def test_line_ends_are_found_alike_in_pieces(text: str, size: int) -> None:
    unified = re.sub("\r\n?", "\n", text)
    wanted: list[str] = []
    for line in re.findall("[^\n]*\n|[^\n]+", unified):
        before, *pages = line.removesuffix("\n").split("\f")
        wanted += [before] if before or not pages else []
        for page in pages:
            wanted += ["", page] if page else [""]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "DECODE_BYTES", size)
        assert list(source_lines(text)) == wanted
