"""A report puts carets where the words are written."""

from collections.abc import Callable

from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.document.parsing import parse
from gateway.catalogue.schema.report import Report, shown
from tests.gateway.catalogue.marked import NO_SECRETS

TEXT = """\
[a]
plain = "word"
literal = 'word'
escaped = "\\u00e9\\t!"
long = '''
one
two'''
list = ["x",
  "y"]
empty = ""
"""


def places(say: Callable[[Report], None]) -> list[tuple[int, int, int]]:
    report = Report(TEXT, parse(TEXT), NO_SECRETS.get)
    say(report)
    return [(each.line, each.column, each.length) for each in report.mistakes]


def key(name: str) -> list[tuple[int, int, int]]:
    return places(lambda report: report.at_key(("a", name), "f", "a"))


def value(name: str) -> list[tuple[int, int, int]]:
    return places(lambda report: report.at_value(("a", name), "f", "a"))


def inside(name: str, start: int, length: int) -> list[tuple[int, int, int]]:
    return places(lambda report: report.inside(("a", name), TextFault("f", start, length, "a")))


def test_keys_and_values() -> None:
    assert key("plain") == [(2, 1, 5)]
    assert value("plain") == [(2, 10, 4)]
    assert value("literal") == [(3, 12, 4)]
    assert value("empty") == [(10, 9, 2)]
    assert value("list") == [(8, 8, 5)]


def test_inside_texts() -> None:
    assert inside("plain", 1, 2) == [(2, 11, 2)]
    assert inside("escaped", 0, 1) == [(4, 12, 6)]
    assert inside("escaped", 2, 1) == [(4, 20, 1)]
    assert inside("long", 4, 3) == [(7, 1, 3)]
    assert inside("plain", 4, 1) == [(2, 14, 1)]


def test_what_has_no_place_is_told_at_its_table() -> None:
    assert key("nowhere") == [(1, 2, 1)]


def test_the_same_mistake_twice_is_one() -> None:
    def twice(report: Report) -> None:
        for _ in range(2):
            report.at_key(("a", "plain"), "f", "a")

    assert len(places(twice)) == 1


def test_intact() -> None:
    report = Report("", parse("[a]\nx = y z\n[b]\ny = 1\n"), NO_SECRETS.get)
    assert not report.intact(("a",))
    assert not report.intact(("a", "x"))
    assert not report.intact(())
    assert report.intact(("b",))


def test_shown() -> None:
    values: list[object] = [True, "x", "", 5, {}, []]
    assert [shown(each) for each in values] == ["true", '"x"', "an empty text", "5", "a table", "a list"]
    assert len(shown("x" * 1_000)) < 100


def test_inside_a_value_without_quotes_is_all_of_it() -> None:
    text = "[a]\nnumber = 1234\n"
    report = Report(text, parse(text), NO_SECRETS.get)
    report.inside(("a", "number"), TextFault("f", 1, 2, "a"))
    assert [(each.line, each.column, each.length) for each in report.mistakes] == [(2, 10, 4)]
