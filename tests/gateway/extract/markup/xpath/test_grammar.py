"""The grammar and the static checks against XPath 1.0 sections 2 to 4, and against libxml2's compiler."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from adapters import limits
from adapters.errors import PathFault
from gateway.extract.markup.xpath.grammar import parse
from gateway.extract.markup.xpath.syntax import (
    Chain,
    Expression,
    Literal,
    Negation,
    Number,
    Path,
    Step,
    TypeTest,
)
from tests.gateway.extract.markup.xpath.generated import expressions

PREFIXES = {"atom": "urn:demo:atom"}


def fault(text: str) -> tuple[int, str]:
    with pytest.raises(PathFault) as caught:
        parse(text, PREFIXES)
    assert caught.value.code == 501
    assert caught.value.sentence.isascii()
    assert len(caught.value.sentence) <= 40
    return caught.value.position, caught.value.sentence


@pytest.mark.parametrize(
    ("text", "position", "sentence"),
    [
        ("", 0, "The path is empty"),
        ("  ", 0, "The path is empty"),
        ("a/", 2, "The path stops too early"),
        ("//", 2, "The path stops too early"),
        ("a[", 2, "The path stops too early"),
        ("a[]", 2, "Unexpected ]"),
        ("a]", 1, "Unexpected ]"),
        ("a[1", 3, "A ] is missing"),
        ("count(a", 7, "A ) is missing"),
        ("(a", 2, "A ) is missing"),
        ("a/1", 2, "Unexpected 1"),
        ("a///b", 3, "Unexpected /"),
        ("a/(b)", 2, "Unexpected ("),
        ("@@a", 1, "Unexpected @"),
        ("a::b", 0, "Unknown axis a"),
        ("child::", 7, "The path stops too early"),
        (".[1]", 1, "Unexpected ["),
        ("text(1)", 5, "Unexpected 1"),
        ("= a", 0, "Unexpected ="),
        ("a =", 3, "The path stops too early"),
        ("a and", 5, "The path stops too early"),
        ("nope(1)", 0, "Unknown function nope()"),
        ("a[matches(., 'x')]", 2, "Unknown function matches()"),
        ("atom:count(a)", 0, "Unknown function count()"),
        ("a/who:b", 2, "Unknown prefix who"),
        ("a/@who:b", 3, "Unknown prefix who"),
        ("a/who:*", 2, "Unknown prefix who"),
        ("ATOM:link", 0, "Unknown prefix ATOM"),
        ("count()", 0, "count() takes more arguments"),
        ("count(a, b)", 0, "count() takes fewer arguments"),
        ("concat('a')", 0, "concat() takes more arguments"),
        ("substring('a')", 0, "substring() takes more arguments"),
        ("substring('a',1,2,3)", 0, "substring() takes fewer arguments"),
        ("true(1)", 0, "true() takes fewer arguments"),
        ("f(a,)", 0, "Unknown function f()"),
        ("concat(a,)", 9, "Unexpected )"),
        ("count('a')", 6, "count() takes nodes only"),
        ("1 + sum(1)", 8, "sum() takes nodes only"),
        ("name(string(a))", 5, "name() takes nodes only"),
        ("a | 'b'", 4, "The | joins nodes only"),
        ("1 | a", 0, "The | joins nodes only"),
        ("'a'[1]", 0, "Only nodes can be filtered"),
        ("string(a)/b", 0, "Only nodes have paths"),
        ("(1)//b", 0, "Only nodes have paths"),
    ],
)
def test_what_is_wrong_and_where(text: str, position: int, sentence: str) -> None:
    assert fault(text) == (position, sentence)


def test_limits() -> None:
    longest = "a" * limits.PATH_CHARACTERS
    parse(longest, {})
    assert fault(longest + "a")[1] == "The path is too long"
    parse("(" * limits.PATH_NESTING + "a" + ")" * limits.PATH_NESTING, {})
    deeper = limits.PATH_NESTING + 1
    for opening, closing in (("(", ")"), ("a[", "]"), ("not(", ")"), ("(", "")):
        assert fault(opening * deeper + "a" + closing * deeper)[1] == "The path is nested too deeply"
    parse("-" * 1_000 + "1", {})
    parse("1" + "+1" * 900, {})


def written_out(expression: Expression) -> str:
    """With parentheses around everything, so that strength and direction can be read."""
    match expression:
        case Number(value):
            return f"{value:g}"
        case Literal(value):
            return value
        case Negation(operand, odd):
            return f"{'-' if odd else '--'}{written_out(operand)}"
        case Chain(first, rest):
            text = written_out(first)
            for sign, operand in rest:
                text = f"({text} {sign} {written_out(operand)})"
            return text
    return "?"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Section 3.5's list of strengths, and its example 3 > 2 > 1.
        ("3 > 2 > 1", "((3 > 2) > 1)"),
        ("1 or 2 and 3 = 4 < 5 + 6 * -7", "(1 or (2 and (3 = (4 < (5 + (6 * -7))))))"),
        ("-1 * 2 + 3 < 4 = 5 and 6 or 7", "((((((-1 * 2) + 3) < 4) = 5) and 6) or 7)"),
        ("1 - 2 - 3", "((1 - 2) - 3)"),
        ("8 div 4 div 2 mod 5", "(((8 div 4) div 2) mod 5)"),
        ("1 = 2 != 3", "((1 = 2) != 3)"),
        ("--1", "--1"),
        ("---1", "-1"),
        ("(1 + 2) * 3", "((1 + 2) * 3)"),
    ],
)
def test_section_3_5_operators(text: str, expected: str) -> None:
    assert written_out(parse(text, {})) == expected


def test_double_slash_takes_no_detour_unless_a_place_is_asked_for() -> None:
    anywhere = Step("descendant-or-self", TypeTest("parent"))

    def steps(text: str) -> tuple[Step, ...]:
        path = parse(text, {})
        assert isinstance(path, Path)
        return path.steps

    assert [step.axis for step in steps("//a[b]")] == ["descendant"]
    for text in ("//a[1]", "//a[last()]", "//a[position() = 2]", "//a[count(b)]", "//@a"):
        assert steps(text)[0] == anywhere, text
    assert steps("//..")[0] == Step("descendant-or-self", TypeTest("node"))


@given(expressions)
def test_all_generated_expressions_compile(text: str) -> None:
    parse(text.replace("~", ""), {})


@given(
    st.lists(
        st.sampled_from([*"ab*@/.[]()|=<-+,1", "//", "..", "::", "div ", "'x'", "count", "self", " and "])
    )
)
def test_nothing_compiles_that_libxml2_refuses(pieces: list[str]) -> None:
    text = "".join(pieces)
    try:
        parse(text, {})
    except PathFault as refusal:
        assert 0 <= refusal.position <= len(text)
        return
    etree.XPath(text, regexp=False)
