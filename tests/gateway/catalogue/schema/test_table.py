"""One table's keys: unknown ones, types, ranges, words, durations."""

import pytest

from adapters import limits
from gateway.catalogue.document.parsing import parse
from gateway.catalogue.keys.key import Key, Shape
from gateway.catalogue.keys.table import KEYS
from gateway.catalogue.schema.report import Report
from gateway.catalogue.schema.table import Table
from tests.gateway.catalogue.marked import NO_SECRETS, check, field, load, mistakes, source

UNKNOWN = {
    "a slip": "formt = 'json'\n^^^^^ format",
    "a swap": "kepe = 5\n^^^^ keep",
    "capitals": "Format = 'json'\n^^^^^^ format",
    "a word that people try": "ttl = 5\n^^^ keep",
    "another such word": "description = 'x'\n^^^^^^^^^^^ about",
    "a quoted key": '"formt" = 5\n^^^^^^^ format',
    "a dotted key": "headrs.X = '1'\n^^^^^^ headers",
    "nothing like it": "zzzzzz = 5\n^^^^^^",
}


@pytest.mark.parametrize("lines", UNKNOWN.values(), ids=UNKNOWN.keys())
def test_unknown_keys(lines: str) -> None:
    (mistake,) = check(source(lines))
    assert "keep" in mistake.allowed


def test_a_key_of_another_table_says_where_it_belongs() -> None:
    (mistake,) = check(source("decimals = 2\n^^^^^^^^"))
    assert mistake.found == "a key of [[source.NAME.field]], not of [source.NAME]"


def test_unknown_tables() -> None:
    check("""
[gatway]
 ^^^^^^ gateway
[sources.x]
 ^^^^^^^ source
""")


TYPES = {
    "text for a number": "limit = '5'\n         ^ 5",
    "number for a text": 'about = 5\n        ^ "5"',
    "true for a text": 'about = true\n        ^^^^ "true"',
    "number for true": "distinct = 1\n           ^ true",
    "text for true": "distinct = 'no'\n            ^^ false",
    "decimal for a whole number": "limit = 5.0\n        ^^^",
    "true for a whole number": "gap = true\n      ^^^^",
    "list for a text": "about = ['x']\n        ^^^^^",
    "text for a list": "args = 'day'\n        ^^^ [\"day\"]",
    "number in a list": "args = [5]\n        ^",
    "text for a table": "namespaces = 'x'\n              ^",
    "list for a table": "headers = []\n          ^^",
    "date for a duration": "keep = 2026-01-01\n       ^^^^^^^^^^",
    "list in a table of texts": "headers = { X = [] }\n                ^^",
    "empty text": "rows = ''\n       ^^",
    "text of two lines": 'about = """a\nb"""\n',
}


@pytest.mark.parametrize("lines", list(TYPES.values())[:-1], ids=list(TYPES)[:-1])
def test_wrong_types(lines: str) -> None:
    check(source(lines))


def test_a_control_character_is_marked_where_it_is_written() -> None:
    check(source(r'about = "High\u0007 water"' + "\n             ^^^^^^"))
    check(source('about = """a\nb"""').replace('about = """a\n', 'about = """a\n            ^\n'))


RANGES = {
    "too small": "limit = 0\n        ^ 1",
    "too great": "gap = 400\n      ^^^ 253",
    "negative": "limit = -4\n        ^^ 1",
    "huge": "limit = 99999999999999999999999\n        ^^^^^^^^^^^^^^^^^^^^^^^ 200000",
    "duration": "keep = -1\n       ^^ 0",
    "duration in words": "keep = '4000d'\n        ^^^^^ 316224000",
}


@pytest.mark.parametrize("lines", RANGES.values(), ids=RANGES.keys())
def test_ranges(lines: str) -> None:
    check(source(lines))


DURATIONS = {
    "a blank": "keep = '10 m'\n        ^^^^ 10m",
    "a whole word": "keep = '10 minutes'\n        ^^^^^^^^^^ 10m",
    "hours": "keep = '1 Hour'\n        ^^^^^^ 1h",
    "a unit that there is not": "keep = '3y'\n        ^^",
    "no number": "keep = 'm'\n        ^",
    "two units": "keep = '1h30m'\n        ^^^^^",
    "a decimal": "keep = 1.5\n       ^^^",
}


@pytest.mark.parametrize("lines", DURATIONS.values(), ids=DURATIONS.keys())
def test_bad_durations(lines: str) -> None:
    check(source(lines))


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("90", 90), ('"90s"', 90), ('"10m"', 600), ('"2h"', 7_200), ('"1d"', 86_400), ("0", 0)],
)
def test_durations(text: str, seconds: int) -> None:
    assert load(source(f"keep = {text}")).sources["A"].keep == seconds


def test_words_are_case_blind() -> None:
    assert load(source("method = 'post'")).sources["A"].method == "POST"


def test_missing_keys_point_at_their_table() -> None:
    check("""
[source.a]
        ^
        ^
[place.b]
       ^
""")


def test_a_key_that_is_only_misspelt_is_not_missing_too() -> None:
    check("""
[source.a]
ulr = "x"
^^^ url
fields = 1
^^^^^^ field
""")


def test_an_accessor_takes_no_key_of_another_shape() -> None:
    report = Report("", parse(""), NO_SECRETS.get)
    table = Table(report, "source", (), {})
    with pytest.raises(AssertionError):
        table.integer("about")
    with pytest.raises(KeyError):
        table.text("nonsense")


def test_every_shape_has_an_accessor_that_reads_it() -> None:
    used = {key.shape for keys in KEYS.values() for key in keys.values()}
    assert used == set(Shape)
    assert isinstance(KEYS["source"]["url"], Key)


def test_tables_in_a_list_and_nothing_else() -> None:
    check("""
[source.a]
url = "https://a.example/"
field = [7]
         ^ -
""")


def test_a_factor_of_any_exponent_is_refused_as_too_long() -> None:
    (mistake,) = mistakes(field("width = 4\nscale = 1e99999999999999999999", kind="fixed"))
    assert (mistake.key, mistake.allowed) == (
        "source.a.field[1].scale",
        f"a number of at most {limits.FACTOR_DIGITS} digits",
    )


@pytest.mark.parametrize("quote", ['"""', "'''"])
def test_a_mistake_is_marked_inside_quotes_of_three(quote: str) -> None:
    (mistake,) = mistakes(source(f"method = {quote}FETCH{quote}"))
    assert (mistake.column, mistake.length) == (13, 5)


def test_numbers_count_as_texts_digit_for_digit() -> None:
    read = load(source("headers = { X-Version = 1.10 }")).sources["A"]
    assert read.headers == (("X-Version", "1.10"),)


@pytest.mark.parametrize("sign", ["", "-"])
def test_the_largest_and_smallest_factors(sign: str) -> None:
    good, bad = limits.FACTOR_DIGITS, limits.FACTOR_DIGITS + 1
    assert not check(field(f"width = 4\nscale = 1e{sign}{good}", kind="fixed"))
    assert len(mistakes(field(f"width = 4\nscale = 1e{sign}{bad}", kind="fixed"))) == 1
