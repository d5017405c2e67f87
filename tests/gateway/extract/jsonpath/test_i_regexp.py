"""I-Regexp: the grammar of RFC 9485 section 4 (from memory), and the same answers as Python's re.

What both languages have in common (characters, classes, groups, quantifiers) is compared with `re`.
"""

import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.extract.jsonpath.i_regexp import TooComplex, translate

VALID = [
    "",
    "a|",
    "|",
    "()",
    "a*b+c?",
    "a{2}b{2,}c{2,3}",
    "a{0}",
    "a{02,3}",
    "(a|b)*",
    "((a))",
    "[abc]",
    "[^abc]",
    "[a-c]",
    "[a-]",
    "[-a]",
    "[--]",
    "[^-]",
    "[a^]",
    "[.*+?(){}|$^/]".replace("^", ""),
    r"[\[\]\\\-\^]",
    r"[\p{L}\P{Nd}a-z]",
    r"[\n-\r]",
    r"\p{L}\P{Lu}\p{Cn}\p{Zs}\p{Sc}\p{Po}\p{Me}",
    r"\(\)\*\+\-\.\?\[\\\]\^\n\r\t\{\|\}",
    "^a$",
    "a,b-c/d=e~f",
    "é🌊\u2028",
    "\n",
]
INVALID = [
    "*",
    "+a",
    "a**",
    "a+?",
    "a?+",
    "(",
    ")",
    "(a",
    "a)",
    "[",
    "]",
    "[]",
    "[^]",
    "[a",
    "[z-a]",
    "[a-z-9]",
    "[---]",
    "[[a]]",
    r"[a-\p{L}]",
    r"[\d]",
    "{",
    "}",
    "a{",
    "a{}",
    "a{,3}",
    "a{3,2}",
    "a{1,2",
    "a{x}",
    "a{1}{2}",
    r"\d",
    r"\w",
    r"\s",
    r"\b",
    r"\$",
    r"\/",
    r"\x41",
    r"\u0041",
    r"\1",
    "\\",
    r"\p",
    r"\pL",
    r"\p{",
    r"\p{}",
    r"\p{Cs}",
    r"\p{Lx}",
    r"\p{Greek}",
    r"\p{IsGreek}",
    r"\p{^L}",
    "(?:a)",
    "(?i)a",
    "(?=a)",
    "\ud800",
    "[\udfff]",
]


@pytest.mark.parametrize("pattern", VALID)
def test_patterns_of_the_grammar(pattern: str) -> None:
    assert translate(pattern) is not None


@pytest.mark.parametrize("pattern", INVALID)
def test_texts_that_are_no_patterns(pattern: str) -> None:
    assert translate(pattern) is None


def matches(pattern: str, text: str) -> bool:
    compiled = translate(pattern)
    assert compiled is not None
    return compiled.fullmatch(text) is not None


@pytest.mark.parametrize(
    ("pattern", "text", "whole"),
    [
        (".", "\u2028", True),  # section 5: all but LF and CR
        (".", "\x85", True),
        (".", "\n", False),
        (".", "\r", False),
        (".", "\U0001f30a", True),
        ("[^a]", "\n", True),
        ("a.c", "abc", True),
        (r"a\.c", "abc", False),
        ("ab|cd", "ab", True),
        ("ab|cd", "abcd", False),
        ("(ab|cd)*", "abcdab", True),
        ("a|ab", "ab", True),
        ("^ab.*", "abc", True),
        (".*bc$", "abc", True),
        (".*bc$", "abc\n", False),  # $ is the very end
        ("a$b", "a$b", False),
        ("[$^]", "$", True),
        ("[&&a]", "&", True),  # no set operations
        ("[a~~b]", "~", True),
        ("[[:alpha:]]".replace("[[", "[\\[").replace("]]", "\\]]"), "p", True),
        ("#a b", "#a b", True),  # blanks and signs mean themselves
        (r"\p{Lu}", "É", True),
        (r"\p{Lu}", "é", False),
        (r"\P{Lu}", "é", True),
        (r"[\P{Lu}]", "É", False),
        (r"[^\p{L}]", "1", True),
        ("É", "é", False),
        ("ß", "ss", False),
        ("K", "\u212a", False),
        (r"[\n-\r]", "\x0b", True),
    ],
)
def test_what_patterns_match(pattern: str, text: str, whole: bool) -> None:
    assert matches(pattern, text) is whole


@pytest.mark.parametrize(
    ("pattern", "text", "found"),
    [
        ("b", "abc", True),
        ("^b", "abc", False),
        ("b$", "ab", True),
        ("b$", "ab\n", False),  # in Python, $ is also before a last line end
        ("^b", "a\nb", False),
        ("", "", True),
        ("a|$", "b", True),
    ],
)
def test_what_patterns_find(pattern: str, text: str, found: bool) -> None:
    compiled = translate(pattern)
    assert compiled is not None
    assert bool(compiled.search(text)) is found


@pytest.mark.parametrize(
    "category", ["L", "Ll", "Mn", "N", "Nd", "P", "Pd", "Z", "Zs", "S", "Sm", "C", "Cc", "Cf", "Co"]
)
def test_categories_are_those_of_unicode(category: str) -> None:
    # characters that every version of the Unicode tables since 5.2 has alike
    for code in [*range(0x250), *range(0x2000, 0x2030), 0x2028, 0xE000, 0x20AC]:
        character = chr(code)
        wanted = unicodedata.category(character).startswith(category)
        assert matches(f"\\p{{{category}}}", character) is wanted
        assert matches(f"\\P{{{category}}}", character) is not wanted


_atoms = st.sampled_from(
    ["a", "b", "-", ",", "[ab]", "[^a]", "[a-c]", "[b-]", ".", r"\.", r"\-", "#", " ", "&"]
)
_quantifiers = st.sampled_from(["", "", "", "*", "+", "?", "{2}", "{0,1}", "{1,}"])
_patterns = st.recursive(
    st.tuples(_atoms, _quantifiers).map("".join),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map("".join),
        st.lists(inner, min_size=1, max_size=3).map("|".join),
        st.tuples(st.just("("), inner, st.just(")"), _quantifiers).map("".join),
    ),
    max_leaves=6,
)


@given(_patterns, st.text("abc.-,# &\n", max_size=6))
def test_the_common_language_matches_as_in_re(pattern: str, text: str) -> None:
    compiled, reference = translate(pattern), re.compile(pattern)
    assert compiled is not None
    assert bool(compiled.fullmatch(text)) == bool(reference.fullmatch(text))
    assert bool(compiled.search(text)) == bool(reference.search(text))


@given(st.text("ab()[]{}*+?|\\^$-.,0123pPLdu\n é", max_size=12))
def test_any_text_is_a_pattern_or_none(text: str) -> None:
    try:
        compiled = translate(text)
    except TooComplex:
        return
    if compiled is not None:
        compiled.fullmatch("ab0é", timeout=limits.PATTERN_SECONDS)
        compiled.search("ab0é", timeout=limits.PATTERN_SECONDS)


@pytest.mark.parametrize(
    "pattern",
    [
        "a" * (limits.PATTERN_CHARACTERS + 1),
        "(" * (limits.PATH_NESTING + 1) + ")" * (limits.PATH_NESTING + 1),
        f"a{{{limits.PATTERN_SIZE + 1}}}",
        "a{99999999999999999999}",
        "((a{30}){30}){30}",
        "(a{1000}){1000}",
        "(a?){0,2000}(b?){0,2000}",
    ],
)
def test_patterns_are_limited_before_they_are_compiled(pattern: str) -> None:
    with pytest.raises(TooComplex):
        translate(pattern)
