"""Each TOML fault: its place, and the word that was probably meant. TOML v1.0.0 says what is a fault."""

import tomllib

import pytest

from gateway.catalogue.document.parsing import parse
from gateway.catalogue.document.syntax import dotted, is_header_line, is_statement_line
from tests.gateway.catalogue.marked import marked

FAULTS = {
    "bare word": """
[source.a]
keep = auto
       ^^^^ "auto"
""",
    "true in capitals": """
[place.a]
write = True
        ^^^^ true
""",
    "true misspelt": """
[place.a]
write = flase
        ^^^^^ false
""",
    "yes": """
[place.a]
write = yes
        ^^^ true
""",
    "number with a unit": """
[source.a]
keep = 10m
       ^^^ "10m"
""",
    "impossible date": """
day = 2026-02-31
      ^^^^^^^^^^
""",
    "no value": """
keep =
      ^
""",
    "colon for equals": """
keep: 10
    ^ =
""",
    "no equals": """
keep 10
     ^^
""",
    "no key": """
= 10
^
""",
    "key beyond ASCII": """
über = 10
^^^^ "über"
""",
    "open text": """
about = "High water
        ^^^^^^^^^^^
""",
    "open literal text": """
about = 'High water
        ^^^^^^^^^^^
""",
    "apostrophe in a literal text": """
about = 'It's high'
            ^
""",
    "backslash": r"""
state = "C:\data"
           ^^
""",
    "backslash U": r"""
state = "C:\Users"
           ^^
""",
    "two statements": """
a = 1 b = 2
      ^
""",
    "list without a comma": """
args = ["a" "b"]
            ^
""",
    "list that only begins": """
args = [
       ^
""",
    "list that goes on to the end": """
args = ["a",
       ^
""",
    "inline table that only begins": """
auth = {
       ^
""",
    "open list": """
args = ["a", "b"
       ^
keep = 1
""",
    "open list of several lines": """
args = [
       ^
  "a",
  "b",
keep = 1
""",
    "open inline table": """
auth = { header = "X"
       ^
keep = 1
""",
    "inline table over lines": """
auth = {
        ^
  header = "X" }
""",
    "comma at the end of an inline table": """
auth = { header = "X", }
                       ^
""",
    "open header": """
[source.tides
^^^^^^^^^^^^^
""",
    "header closed once": """
[[listen]
^^^^^^^^^
""",
    "something after a header": """
[listen] port = 1
         ^^^^
""",
    "key twice": """
keep = 1
stale = 2
keep = 3
^^^^
""",
    "key twice in an inline table": """
auth = { basic = "a", basic = "b" }
                      ^^^^^
""",
    "table twice": """
[source.tides]
keep = 1
[source.tides]
        ^^^^^
""",
    "table and list of tables": """
[source.tides.field]
[[source.tides.field]]
               ^^^^^
""",
    "dotted key into a text": """
url = "x"
url.host = "y"
    ^^^^
""",
    "a control character": """
about = "a\x01b"
          ^
""",
    "a control character in a comment": """
a = 1  # b\x01
          ^
""",
    "a tab before": """
[source.a]
\tkeep = ten
\t       ^^^ "ten"
""",
}


@pytest.mark.parametrize("snippet", FAULTS.values(), ids=FAULTS.keys())
def test_one_fault_is_reported_once_at_its_word(snippet: str) -> None:
    text, places = marked(snippet)
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)
    found = parse(text).mistakes
    assert [(each.line, each.column, each.length, each.nearest) for each in found] == places
    for each in found:
        assert each.found
        assert each.allowed


def test_open_text_of_several_lines_is_reported_where_it_begins() -> None:
    parsed = parse('a = 1\nb = """x\ny = 3\n[c]\n')
    assert [(each.line, each.column) for each in parsed.mistakes] == [(2, 5)]
    assert not parsed.whole


@pytest.mark.parametrize("text", ["a = " + "[" * 5_000, "a = " + "9" * 5_000, ".".join("a" * 300) + " = 1"])
def test_what_would_overrun_the_parser_is_a_mistake(text: str) -> None:
    parsed = parse(text)
    assert len(parsed.mistakes) == 1
    assert not parsed.whole


def test_a_secret_without_quotes_is_not_repeated() -> None:
    (mistake,) = parse("secret = hunter2\n").mistakes
    assert "hunter2" not in mistake.render("secret = hunter2\n", "f") + mistake.nearest


def test_the_tail_of_a_broken_secret_is_not_repeated() -> None:
    for text in ("secret = 'hun'ter2'\n", 'auth = { secret = "hun" ter2 }\n'):
        (mistake,) = parse(text).mistakes
        assert "ter2" not in mistake.found + mistake.allowed + mistake.nearest


def test_dotted() -> None:
    assert dotted(("source", "tides", "field", 1, "width")) == "source.tides.field[2].width"
    assert dotted(("letters", "ü")) == 'letters."ü"'


@pytest.mark.parametrize(
    ("line", "statement", "header"),
    [
        ("keep = 1", True, False),
        ('  "a b".c = 1', True, False),
        ("[source.tides]", False, True),
        ("[[listen]] # one", False, True),
        ("  [1, 2],", False, False),
        ('  "a",', False, False),
        ("# keep = 1", False, False),
        ("]", False, False),
    ],
)
def test_what_a_line_looks_like(line: str, statement: bool, header: bool) -> None:
    assert (is_statement_line(line), is_header_line(line)) == (statement, header)
