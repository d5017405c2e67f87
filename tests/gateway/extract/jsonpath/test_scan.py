"""Strings, names and numbers of a query, token by token (RFC 9535 sections 2.1, 2.3.1.1, 2.5.1.1)."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import PathFault
from gateway.extract.jsonpath.scan import Scanner


@given(st.text(st.characters(exclude_categories=["Cs"])), st.booleans())
def test_a_json_string_is_a_string_here_too(text: str, ensure_ascii: bool) -> None:
    # but for the escapes, JSON's strings are the RFC's double-quoted ones
    scan = Scanner(json.dumps(text, ensure_ascii=ensure_ascii))
    assert scan.string() == text
    assert scan.ended()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("'a'", "a"),
        ("''", ""),
        ("'\"'", '"'),
        ('"\'"', "'"),
        (r"'\''", "'"),
        (r"'\b\f\n\r\t\/\\'", "\b\f\n\r\t/\\"),
        (r"'\u0041\u00e9\u2028'", "Aé\u2028"),
        (r"'\uD83D\uDE00\ud83d\ude00'", "\U0001f600\U0001f600"),
        (r"'\u0000'", "\0"),
        ("'\x7f\x80\u2028'", "\x7f\x80\u2028"),
    ],
)
def test_quoted_strings(text: str, value: str) -> None:
    assert Scanner(text + "rest").string() == value


@pytest.mark.parametrize("code", range(0x20))
@pytest.mark.parametrize("quote", ["'", '"'])
def test_controls_are_not_allowed_in_strings(code: int, quote: str) -> None:
    with pytest.raises(PathFault):
        Scanner(f"{quote}a{chr(code)}{quote}").string()


@pytest.mark.parametrize("letter", [chr(code) for code in range(0x20, 0x7F) if chr(code) not in "bfnrtu/\\'"])
def test_no_other_escapes(letter: str) -> None:
    with pytest.raises(PathFault, match="No such escape"):
        Scanner(f"'\\{letter}'").string()


@pytest.mark.parametrize("name", ["a", "_", "A9_", "é", "\x80", "日本", "\ue000", "\U0001f600", "\U0010ffff"])
def test_names_without_quotes(name: str) -> None:
    assert Scanner(name + ".").name() == name


@pytest.mark.parametrize("text", ["", "9", "-", "'", " ", "$", "@", "\x7f", "\ud800"])
def test_what_begins_no_name(text: str) -> None:
    assert Scanner(text).name() is None


@pytest.mark.parametrize("text", ["0", "-1", "9007199254740991", "-9007199254740991"])
def test_integers(text: str) -> None:
    assert Scanner(text).integer() == int(text)


@pytest.mark.parametrize(
    "text", ["0", "-0", "-0.0", "1.10", "1e5", "1E+5", "2.50e-10", "1" * 1_000, "1e" + "9" * 500]
)
def test_numbers_keep_their_text(text: str) -> None:
    assert Scanner(text).number().text == text
