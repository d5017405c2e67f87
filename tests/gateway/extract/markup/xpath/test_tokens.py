"""Tokens against XPath 1.0 section 3.7, and names against Namespaces in XML 1.0."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from adapters.errors import PathFault
from gateway.extract.markup.xpath.tokens import Sort, shown, tokenise


def brief(text: str) -> list[str]:
    letters = {
        Sort.MARK: "m",
        Sort.OPERATOR: "o",
        Sort.NAME_TEST: "n",
        Sort.NODE_TYPE: "t",
        Sort.FUNCTION: "f",
        Sort.AXIS: "a",
        Sort.LITERAL: "l",
        Sort.NUMBER: "d",
    }
    return [
        f"{letters[token.sort]}{f'{token.prefix}:' if token.prefix else ''}{token.text}"
        for token in tokenise(text)[:-1]
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # A star: an operator after an operand, else a name test.
        ("* * *", ["n*", "o*", "n*"]),
        ("(*)*(*)", ["m(", "n*", "m)", "o*", "m(", "n*", "m)"]),
        ("a[*]*@*", ["na", "m[", "n*", "m]", "o*", "m@", "n*"]),
        (".*..", ["m.", "o*", "m.."]),
        ("child::*|*", ["achild", "m::", "n*", "o|", "n*"]),
        ("/*", ["o/", "n*"]),
        ("f(*,*)", ["ff", "m(", "n*", "m,", "n*", "m)"]),
        ("2*3", ["d2", "o*", "d3"]),
        # Names of operators are names where an operand is wanted.
        ("div div div", ["ndiv", "odiv", "ndiv"]),
        ("and and or or mod mod mod", ["nand", "oand", "nor", "oor", "nmod", "omod", "nmod"]),
        ("@div div @mod", ["m@", "ndiv", "odiv", "m@", "nmod"]),
        ("'a'or'b'", ["la", "oor", "lb"]),
        ("1div 2", ["d1", "odiv", "d2"]),
        # Functions, node types and axes by what follows, blanks or not.
        ("text ( )", ["ttext", "m(", "m)"]),
        ("text", ["ntext"]),
        ("node()|comment()", ["tnode", "m(", "m)", "o|", "tcomment", "m(", "m)"]),
        ("count (a)", ["fcount", "m(", "na", "m)"]),
        ("x:count(a)", ["fx:count", "m(", "na", "m)"]),
        ("self :: self", ["aself", "m::", "nself"]),
        ("div::a", None),
        # The longest possible token.
        ("a-b", ["na-b"]),
        ("a -b", ["na", "o-", "nb"]),
        ("a.b", ["na.b"]),
        ("1.5", ["d1.5"]),
        ("1.", ["d1."]),
        (".5", ["d.5"]),
        ("a<=b", ["na", "o<=", "nb"]),
        ("a<b", ["na", "o<", "nb"]),
        ("a!=b", ["na", "o!=", "nb"]),
        ("//a", ["o//", "na"]),
        # Names with a prefix hold no blanks.
        ("p:a", ["np:a"]),
        ("p:*", ["np:*"]),
        ("p:* * p:*", ["np:*", "o*", "np:*"]),
        ("été/naïve", ["nété", "o/", "nnaïve"]),
        ("\t a \r\n", ["na"]),
        ("'it\"s'", ['lit"s']),
        ('"it\'s"', ["lit's"]),
        ("''", ["l"]),
    ],
)
def test_section_3_7(text: str, expected: list[str] | None) -> None:
    if expected is None:
        with pytest.raises(PathFault):
            tokenise(text)
    else:
        assert brief(text) == expected


@pytest.mark.parametrize(
    ("text", "position", "sentence"),
    [
        ("a/$x", 2, "Variables are not known here"),
        ("a = 'x", 4, "A quote is not closed"),
        ("a#b", 1, "That character has no meaning here"),
        ("a!b", 1, "That character has no meaning here"),
        ("p :a", 2, "That character has no meaning here"),
        ("a b", 2, "An operator is missing"),
        ("a[1] text()", 5, "An operator is missing"),
        ("sideways::a", 0, "Unknown axis sideways"),
        ("a\u00a0b", 1, "That character has no meaning here"),
        ("1e5", 1, "An operator is missing"),
    ],
)
def test_faults_have_a_place(text: str, position: int, sentence: str) -> None:
    with pytest.raises(PathFault) as caught:
        tokenise(text)
    assert (caught.value.position, caught.value.sentence) == (position, sentence)


@given(st.text(max_size=3))
def test_names_are_those_that_an_xml_parser_takes(text: str) -> None:
    """By lxml, as an independent reading of Namespaces in XML; it knows the older character tables too."""
    try:
        ours = brief(text) == [f"n{text}"] and ":" not in text and text != "*"
    except PathFault:
        ours = False
    try:
        etree.QName(text)
        theirs = ":" not in text and text != "*"
    except ValueError:
        theirs = False
    if ours:
        assert theirs
    if theirs and text.isascii():
        assert ours


@given(st.text(alphabet="ab:*/@.[]()'\"=<>!|+-, 1$é\u00a0", max_size=12))
def test_any_text_gives_tokens_or_a_fault_with_a_place(text: str) -> None:
    try:
        tokens = tokenise(text)
    except PathFault as fault:
        assert 0 <= fault.position < len(text)
    else:
        assert tokens[-1].sort is Sort.END
        places = [token.position for token in tokens]
        assert places == sorted(places)


def test_a_long_or_foreign_name_is_short_ascii_in_a_sentence() -> None:
    assert shown("a" * 300) == "a" * 17 + "..."
    assert shown("été") == "?t?"
