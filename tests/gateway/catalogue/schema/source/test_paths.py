"""rows and at: one language a source, carets inside the path."""

import pytest

from gateway.extract.jsonpath import JsonPath
from gateway.extract.markup import XmlPath
from gateway.extract.paths import OpenPath
from gateway.extract.table import ColumnPath
from tests.gateway.catalogue.marked import check, load, mistakes, source

WRONG = {
    "JSONPath without a dollar": ("format = 'json'\nrows = 'items[*]'\n        ^^^^^^^^ $.items[*]", ""),
    "at without a dollar": ("rows = '$.items'", "at = 'name'\n      ^^^^ $.name"),
    "a list of both": ("", "at = ['$.a', 'b']\n              ^ $.b"),
    "JSONPath in xml": ("format = 'xml'\nrows = '$.items'\n        ^^^^^^^", ""),
    "rows of csv": ("format = 'csv'\nrows = 'items'\n^^^^", ""),
    "at as a table": ("", "at = { path = 'x' }\n     ^^^^^^^^^^^^^^"),
    "at as true": ("", "at = true\n     ^^^^"),
    "column 0": ("format = 'csv'", "at = 0\n     ^"),
    "column of xml": ("format = 'xml'", "at = [2]\n      ^"),
    "column beside JSONPath": ("rows = '$.a'", "at = 2\n     ^"),
    "column beside rows": ("rows = '//tr'", "at = 2\n     ^"),
    "an empty list": ("", "at = []\n     ^^"),
    "an empty path": ("", "at = ''\n     ^^"),
}


@pytest.mark.parametrize(("lines", "field"), WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str, field: str) -> None:
    check(source(lines, field))


@pytest.mark.parametrize("path", ["$.a[?@.b==]", "$.a[", "$..", "$.a b"])
def test_a_caret_stands_inside_the_path(path: str) -> None:
    text = source(f'rows = "{path}"')
    with pytest.raises(pytest.fail.Exception, match=r"harbour\.toml:3:") as caught:
        load(text)
    column = int(str(caught.value).split(":")[2])
    assert 9 <= column <= 9 + len(path)


def test_a_caret_after_escapes_is_where_the_character_is_written() -> None:
    plain = mistakes(source('rows = "$.a b"'))[0]
    written = mistakes(source(r'rows = "\u0024.a b"'))[0]
    assert written.column == plain.column + len(r"\u0024") - len("$")
    long = mistakes(source('rows = """\n$.a b"""'))[0]
    assert (long.line, long.column) == (plain.line + 1, plain.column - len('rows = "'))


def test_languages() -> None:
    def rows(lines: str, field: str = "") -> object:
        return load(source(lines, field)).sources["A"].plan.rows

    assert isinstance(rows("rows = '$.a'"), JsonPath)
    assert isinstance(rows("format = 'ndjson'\nrows = '$.a'"), JsonPath)
    assert isinstance(rows("format = 'html'\nrows = '//tr'"), XmlPath)
    assert isinstance(rows("rows = '/feed/entry'"), OpenPath)
    assert rows("format = 'csv'") is None


def test_columns_of_csv_may_be_numbers() -> None:
    (path,) = load(source("format = 'csv'", "at = 3")).sources["A"].plan.fields[0].at
    assert isinstance(path, ColumnPath)
    assert path.text == "3"


def test_what_is_no_xpath_is_a_heading_only_where_there_are_no_rows() -> None:
    heading = "at = 'Height (m'"
    assert load(source("", heading)).sources["A"].plan.fields[0].at[0].text == "Height (m"
    with pytest.raises(pytest.fail.Exception):
        load(source("rows = '//tr'", heading))
