"""What is a query and what is not: RFC 9535's rules, and the sentences for what breaks them."""

import pytest

from adapters import limits
from adapters.errors import PathFault
from gateway.extract.jsonpath.grammar import parse

# Section 2.4.3 and the examples of section 2.4.9 (from memory of the RFC), without its invented functions
WELL_TYPED = [
    "$[?length(@) < 3]",
    "$[?count(@.*) == 1]",
    "$[?match(@.timezone, 'Europe/.*')]",
    '$[?value(@..color) == "red"]',
    "$[?length(value(@..a)) == 1]",
    "$[?!match(@.a, $.b)]",
    "$[?count($) == 1 || search('a', value($..p))]",
]
MISTAKES = [
    ("", "A path begins with $", 0),
    (" $", "A path begins with $", 0),
    ("a.b", "A path begins with $", 0),
    ("$ ", "No blanks after the path", 1),
    ("$.", "The path ends with a dot", 2),
    ("$.a.", "The path ends with a dot", 4),
    ("$. a", "A name must follow the dot", 2),
    ("$.1a", "Such a name needs ['...']", 2),
    ("$.'a'", "Such a name needs ['...']", 2),
    ("$...a", "At most two dots", 3),
    ("$.[0]", "No dot before [", 2),
    ("$a", "Expected . or [ here", 1),
    ("$.a-b", "Expected . or [ here", 3),
    ("$.a]", "This ] closes nothing", 3),
    ("$.a[0", "This [ is never closed", 3),
    ("$[", "The path ends inside [", 2),
    ("$[]", "A name or number is missing here", 2),
    ("$[0,]", "A name or number is missing here", 4),
    ("$[0 1]", "Expected , or ] here", 4),
    ("$[a]", "In [] a name needs quotes", 2),
    ("$[(@.length-1)]", "Scripts are not JSONPath; use ?", 2),
    ("$[01]", "No leading zeros or -0 here", 2),
    ("$[-0]", "No leading zeros or -0 here", 2),
    ("$[1:-0]", "No leading zeros or -0 here", 4),
    ("$[-]", "A digit must follow -", 3),
    ("$[9007199254740992]", "That index is too large", 2),
    ("$[::-99999999999999999999]", "That index is too large", 4),
    ("$['a", "The quote is never closed", 2),
    ("$['a\nb']", "Write control characters as \\u00hh", 4),
    ("$['\\x']", "No such escape in a quoted name", 3),
    ("$['\\\"']", "No such escape in a quoted name", 3),
    ("$['\\u12']", "Four hex digits must follow \\u", 3),
    ("$['\\ud83d']", "Half of a surrogate pair", 3),
    ("$['\\ude00']", "Half of a surrogate pair", 3),
    ("$['\ud83d']", "Not a Unicode character", 3),
    ("$[?]", "Expected @, $, a value or a function", 3),
    ("$[?@.a", "This [ is never closed", 1),
    ("$[?@.a = 1]", "Write == to compare", 7),
    ("$[?@.a === 1]", "No such comparison", 9),
    ("$[?@.a =~ 'x']", "Use match() or search() for patterns", 7),
    ("$[?@.a & @.b]", "Write &&", 7),
    ("$[?@.a | @.b]", "Write ||", 7),
    ("$[?@.a == 'x' and @.b]", "Expected , or ] here", 14),
    ("$[?@.a == ]", "Expected @, $, a value or a function", 10),
    ("$[?@.a ==", "The path ends too early", 9),
    ("$[?(@.a]", "Expected ) here", 7),
    ("$[?(@.a", "This ( is never closed", 3),
    ("$[?(@.a) == 1]", "A test in () cannot be compared", 3),
    ("$[?!@.a == 1]", "Put a comparison after ! in ()", 4),
    ("$[?!!@.a]", "Only one ! before a test", 4),
    ("$[?1]", "A bare value tests nothing", 3),
    ("$[?'a' && @.b]", "A bare value tests nothing", 3),
    ("$[?@.* == 1]", "Only a path to one value compares", 3),
    ("$[?1 == @..a]", "Only a path to one value compares", 8),
    ("$[?@.a == True]", "Write true in lower case", 10),
    ("$[?@.a == none]", "Text needs quotes, members @.", 10),
    ("$[?@.a == 01]", "No leading zeros in numbers", 10),
    ("$[?@.a == 1.]", "A digit must follow the point", 12),
    ("$[?@.a == 1e]", "A digit must follow the exponent's e", 12),
    ("$[?@.a == .5]", "Expected @, $, a value or a function", 10),
    ("$[?@.a == -x]", "A digit must follow -", 11),
    ("$[?nosuchfunction(@.a)]", "No function nosuchfuncti()", 3),
    ("$[?length(@.a)]", "length() must be compared", 3),
    ("$[?value(@..color)]", "value() must be compared", 3),
    ("$[?match(@.a, 'b') == true]", "match() cannot be compared", 3),
    ("$[?true == match(@.a, 'b')]", "match() cannot be compared", 11),
    ("$[?length(@.*) < 3]", "length() takes a value here", 10),
    ("$[?count(1) == 1]", "count() takes a path here", 9),
    ("$[?count(length(@)) == 1]", "count() takes a path here", 9),
    ("$[?length(match(@.a, 'b')) == 1]", "length() takes a value here", 10),
    ("$[?length(@.a == 1) == 1]", "length() takes a value here", 10),
    ("$[?length(!@.a) == 1]", "length() takes a value here", 10),
    ("$[?length((@.a)) == 1]", "length() takes a value here", 10),
    ("$[?count() == 1]", "count() takes 1 argument", 3),
    ("$[?count(@.a, @.b) == 1]", "count() takes 1 argument", 14),
    ("$[?match(@.a)]", "match() takes 2 arguments", 3),
    ("$[?match(@.a 'b')]", "Expected , or ) here", 13),
    ("$[?match(@.a,)]", "Expected @, $, a value or a function", 13),
    ("$[?match (@.a, 'b')]", "Text needs quotes, members @.", 3),
    ("$[?match(@.a, 'a{9999}')]", "That pattern is too large", 3),
]


@pytest.mark.parametrize("text", WELL_TYPED)
def test_well_typed_calls_pass(text: str) -> None:
    assert not parse(text).singular


@pytest.mark.parametrize(("text", "sentence", "position"), MISTAKES)
def test_a_mistake_is_named_with_its_place(text: str, sentence: str, position: int) -> None:
    with pytest.raises(PathFault) as caught:
        parse(text)
    assert (caught.value.sentence, caught.value.position) == (sentence, position)


def test_sentences_fit_a_narrow_screen() -> None:
    assert all(sentence.isascii() and len(sentence) <= 40 for _, sentence, _ in MISTAKES)


@pytest.mark.parametrize(
    ("text", "singular"),
    [
        ("$", True),
        ("$.a['b'][0][-1]", True),
        ("$ .a [0]", True),
        ("$.*", False),
        ("$[0:1]", False),
        ("$[0,1]", False),
        ("$..a", False),
        ("$[?@.a]", False),
    ],
)
def test_singular_queries(text: str, singular: bool) -> None:
    # Section 2.3.5.1
    assert parse(text).singular is singular


@pytest.mark.parametrize("blank", [" ", "\t", "\n", "\r", " \r\n\t "])
def test_blanks_where_the_grammar_has_them(blank: str) -> None:
    tokens = (
        "$ .a [ 0 , 1 : 2 : 3 , ? ( @ .b == 1 ) || ! match( @ .c , 'x' ) && count( $ ..d ) > 0 ] ..e [ * ]"
    )
    assert parse(tokens.replace(" ", blank)) == parse(tokens.replace(" ", ""))


@pytest.mark.parametrize("blank", ["\x0b", "\x0c", "\xa0", "\u2003", "\u2028", "\ufeff"])
def test_nothing_else_is_a_blank(blank: str) -> None:
    with pytest.raises(PathFault):
        parse(f"$[0{blank}]")


@pytest.mark.parametrize(
    "text",
    [
        "$" + "[?@" * 450 + "]" * 450,
        "$[?" + "(" * 900 + "@" + ")" * 900 + "]",
        "$[?" + "!(" * 600 + "@" + ")" * 600 + "]",
        "$[?" + "length(value(" * 140 + "@",
        "$[?" + "(" * 1_990,
        "$" + "[?1==count(@" * 160,
    ],
)
def test_hostile_nesting_is_refused(text: str) -> None:
    with pytest.raises(PathFault, match="Nested too deeply"):
        parse(text)


def test_nesting_up_to_the_limit() -> None:
    depth = limits.PATH_NESTING
    parse("$" + "[?@" * depth + "]" * depth)
    parse("$[?" + "(" * (depth - 1) + "@" + ")" * (depth - 1) + "]")


def test_long_chains_do_not_nest() -> None:
    parse("$" + ".a" * 900)
    parse("$[?" + "||".join(["@.a"] * 300) + "]")
    parse("$[?" + "&&".join(["!@.a"] * 300) + "]")


def test_length_is_limited() -> None:
    parse("$." + "a" * (limits.PATH_CHARACTERS - 2))
    with pytest.raises(PathFault, match="at most"):
        parse("$." + "a" * (limits.PATH_CHARACTERS - 1))
