"""Documents and rows: CONTRACT section 4, sentence by sentence."""

import json
from pathlib import Path
from typing import Any

import pytest

from adapters import limits
from adapters.errors import PathFault, TooLarge, WrongDocument
from gateway.extract.jsonpath import compile_jsonpath
from gateway.extract.paths import compile_open_path, compile_path
from gateway.extract.plan import Field, Format, Plan, Row
from gateway.extract.rows import RowReader, format_of
from gateway.extract.table import compile_column
from gateway.extract.values import MISSING, JsonNumber, Value

CASES = Path(__file__).parents[2] / "cases"
NAMESPACES: dict[str, str] = {}


def plan(
    rows: str | None, *fields: str | list[str] | None, format_: Format = Format.AUTO, **options: Any
) -> Plan:
    """A plan whose fields are F1, F2 ... at the given paths; None: the row itself."""
    made = []
    for number, at in enumerate(fields, 1):
        texts = [] if at is None else [at] if isinstance(at, str) else at
        made.append(
            Field(f"F{number}", 10, at=tuple(compile_path(text, format_, NAMESPACES) for text in texts))
        )
    path = None if rows is None else compile_path(rows, format_, NAMESPACES)
    return Plan(tuple(made), format_, path, **options)


def picked(
    made: Plan, body: str | bytes, media_type: str = "", charset: str | None = None
) -> list[list[Value]]:
    data = body.encode() if isinstance(body, str) else body
    return [list(row.values) for row in RowReader(made).read(data, media_type, charset)]


def number(literal: str) -> JsonNumber:
    return JsonNumber(literal)


# The case: missing, null, empty and false are four things; rows must not slide up

FOLDER = CASES / "json-null-missing-one-or-many"
EXPECTED = json.loads((FOLDER / "expected.json").read_text("utf-8"))


def word(value: Value) -> str:
    if value is MISSING:
        return "<missing>"
    if value is None:
        return "<null>"
    if value == "":
        return "<empty>"
    if isinstance(value, bool):
        return "true" if value else "false"
    return value.text if isinstance(value, JsonNumber) else str(value)


@pytest.mark.parametrize("rows", [None, "$", "$[*]"])
def test_rows_do_not_slide(rows: str | None) -> None:
    body = (FOLDER / "rows.json").read_bytes()
    found = picked(plan(rows, "$.id", "$.name"), body)
    assert [[word(value) for value in row] for row in found] == EXPECTED["rows.json"]


@pytest.mark.parametrize("name", ["one.json", "many.json", "none_list.json", "none_obj.json"])
def test_one_many_or_none(name: str) -> None:
    found = picked(plan("$.Result.Row", "$.n"), (FOLDER / name).read_bytes())
    assert [word(row[0]) for row in found] == EXPECTED[name]


# "If `rows` is a singular query that selects an array, its elements are the rows; one that selects something
# else is one row; else each selected node is a row. Omitted: `$` or `/*`."


@pytest.mark.parametrize(
    ("rows", "body", "found"),
    [
        ("$.a", '{"a":[1,2]}', ["1", "2"]),
        ("$.a[0]", '{"a":[[1,2],3]}', ["1", "2"]),
        ("$.a", '{"a":[]}', []),
        ("$.a", '{"a":7}', ["7"]),
        ("$.a", '{"a":null}', ["<null>"]),
        ("$.b", '{"a":1}', []),
        ("$.a[*]", '{"a":[[1],[2]]}', ["[1]", "[2]"]),
        ("$..n", '{"a":{"n":1},"n":[2]}', ["[2]", "1"]),
        ("$.a[?@>1]", '{"a":[1,2,3]}', ["2", "3"]),
        (None, "[1,2]", ["1", "2"]),
        (None, '{"a":1}', ['{"a":1}']),
        (None, "7", ["7"]),
    ],
)
def test_json_rows(rows: str | None, body: str, found: list[str]) -> None:
    values = [row[0] for row in picked(plan(rows, None, format_=Format.JSON), body)]
    literal = json.loads(body)
    assert literal is not None
    assert [
        json.dumps(plain(value), separators=(",", ":")) if value is not None else "<null>" for value in values
    ] == found


def plain(value: Any) -> Any:
    """A value with its numbers as Python's, which the small ones here can be."""
    if isinstance(value, JsonNumber):
        return int(value.text)
    if isinstance(value, list):
        return [plain(each) for each in value]
    return {name: plain(each) for name, each in value.items()} if isinstance(value, dict) else value


def test_ndjson_rows_are_its_lines() -> None:
    body = '{"n":1}\n\n{"n":[2]}\n'
    for rows in (None, "$", "$[*]"):
        made = plan(rows, "$.n", format_=Format.NDJSON)
        assert picked(made, body) == [[number("1")], [[number("2")]]]
    assert picked(plan("$[0].n", None, format_=Format.NDJSON), body) == [[number("1")]]


@pytest.mark.parametrize("format_", [Format.NDJSON, Format.JSON, Format.AUTO])
def test_the_charset_that_was_named_is_every_formats(format_: Format) -> None:
    body = '{"n":"Fähre"}\n'.encode("latin-1")
    assert picked(plan(None, "$.n", format_=format_), body, "", "iso-8859-1") == [["Fähre"]]


def test_auto_takes_lines_for_lines_and_json_for_json() -> None:
    assert picked(plan(None, "$.n"), '{"n":1}\n{"n":2}\n') == [[number("1")], [number("2")]]
    assert picked(plan(None, "$.n"), '{"n":\n1}\n') == [[number("1")]]
    assert picked(plan(None, "$.n"), '{"n":1}\n', "application/x-ndjson") == [[number("1")]]


XML = "<list><i k='a'><v>1</v><v>2</v></i><i k='b'/><i k='c'><v>x<b>y</b></v></i></list>"


def test_xml_rows_are_the_selected_nodes() -> None:
    found = [["a", "1", "12"], ["b", MISSING, ""], ["c", "xy", "xy"]]
    for format_ in (Format.XML, Format.AUTO):
        assert picked(plan("/list/i", "@k", "v", None, format_=format_), XML) == found
    assert picked(plan("//i/@k", None), XML) == [["a"], ["b"], ["c"]]
    assert picked(plan("/list/none", "@k"), XML) == []


def test_xml_without_rows_is_its_root_element() -> None:
    assert picked(plan(None, "count(i)", "i[3]/@k", "v"), XML) == [["3", "c", MISSING]]
    assert picked(plan(None, None, format_=Format.XML), XML) == [["12xy"]]


def test_an_unprefixed_name_means_the_root_element_s_namespace() -> None:
    assert picked(
        plan("/feed/entry", "title"), "<feed xmlns='urn:x'><entry><title>T</title></entry></feed>"
    ) == [["T"]]


def test_own_prefixes_of_the_source() -> None:
    made = Plan(
        (Field("A", 5, at=(compile_open_path("p:v", {"p": "urn:x"}),)),),
        rows=compile_open_path("/p:list/p:i", {"p": "urn:x"}),
        namespaces={"p": "urn:x"},
    )
    assert picked(made, "<q:list xmlns:q='urn:x'><q:i><q:v>1</q:v></q:i></q:list>") == [["1"]]


def test_html() -> None:
    body = "<!doctype html><table><tr><td>a<td>1<tr><td>b<td>2</table>"
    assert picked(plan("//tr", "td[1]", "td[2]"), body, "text/html") == [["a", "1"], ["b", "2"]]
    assert picked(plan("//tr", "td[1]", format_=Format.HTML), body) == [["a"], ["b"]]


def test_csv_rows_are_its_lines_after_the_headings() -> None:
    body = 'name,"deep, m"\r\nQuay,"2,5"\r\nBar\r\n'
    for format_ in (Format.CSV, Format.AUTO):
        assert picked(plan(None, "name", "deep, m", "2", format_=format_), body)[0] == ["Quay", "2,5", "2,5"]
        assert picked(plan(None, "name", "2", format_=format_), body)[1] == ["Bar", MISSING]
    assert picked(plan(None, None, format_=Format.CSV), "a,b\n1,2\n") == [[["1", "2"]]]


def test_an_empty_cell_of_csv_is_missing() -> None:
    assert picked(plan(None, "a", ["a", "b"]), 'a,b\n,2\n"",3\n , 4\n') == [
        [MISSING, "2"],
        [MISSING, "3"],
        [" ", " "],
    ]


# "A path picks per row"; "`at` may be a list, first hit wins"; "Several matches: the first. Null is a hit."


def test_the_first_hit_of_the_alternatives_wins() -> None:
    made = plan("$", ["$.a", "$.b"])
    body = '[{"a":1,"b":2},{"b":2},{"a":null,"b":2},{"a":"","b":2},{}]'
    assert picked(made, body) == [[number("1")], [number("2")], [None], [""], [MISSING]]
    assert picked(plan("/l/i", ["a", "b/@c"]), "<l><i><b c='x'/></i><i><a>y</a></i></l>") == [["x"], ["y"]]
    assert picked(plan(None, ["x", "b"]), "a,b\n1,2\n") == [["2"]]


def test_of_several_matches_the_first_is_the_value() -> None:
    assert picked(plan("$", "$.a[*]"), '[{"a":[1,2]},{"a":[]}]') == [[number("1")], [MISSING]]


# "`auto`: paths with `$` mean json or ndjson; otherwise a document whose first mark after blanks is `<` is
# html by its media type, else xml; otherwise csv."


@pytest.mark.parametrize(
    ("rows", "at", "body", "media_type", "format_"),
    [
        ("$.a", "$.b", b"<x/>", "text/html", Format.AUTO),
        (None, "$.b", b"a,b", "text/csv", Format.AUTO),
        ("/a", "b", b" \r\n\t<x/>", "application/xml", Format.XML),
        (None, "b", b"\xef\xbb\xbf<x/>", "", Format.XML),
        (None, "b", "\ufeff<x/>".encode("utf-16-le"), "", Format.XML),
        (None, "b", b"<x/>", "text/html", Format.HTML),
        (None, "b", b"<x/>", "application/xhtml+xml", Format.XML),
        (None, "b", b" " * 5_000 + b"<x/>", "", Format.XML),
        (None, "b", b"a,b\n1,2", "text/csv", Format.CSV),
        (None, "b", b"", "text/html", Format.CSV),
        (None, "b", b'{"b":1}', "application/json", Format.CSV),  # without a `$` nothing asks for JSON
        # without any path, which the contract does not speak of
        (None, None, b'{"b":1}', "", Format.AUTO),
        (None, None, b" [1]", "text/plain", Format.AUTO),
        (None, None, b"7", "application/json", Format.AUTO),
        (None, None, b"7", "application/problem+json", Format.AUTO),
        (None, None, b"7", "application/x-ndjson", Format.AUTO),
        (None, None, b"<x/>", "", Format.XML),
        (None, None, b"a,b\n1,2", "", Format.CSV),
    ],
)
def test_auto(rows: str | None, at: str | None, body: bytes, media_type: str, format_: Format) -> None:
    assert format_of(plan(rows, at), body, media_type) is format_


def test_a_format_that_is_told_is_taken() -> None:
    for format_ in (Format.JSON, Format.NDJSON, Format.XML, Format.HTML, Format.CSV):
        assert format_of(plan(None, None, format_=format_), b"<", "text/csv") is format_


@pytest.mark.parametrize(
    ("made", "body"),
    [
        (plan("$", "$.a"), "<html>down</html>"),
        (plan("/feed/entry", "title"), "down for repairs"),
        (plan(None, "title", "link"), "down for repairs\ntry later\n"),
        (plan(None, "title"), "down for repairs"),
        (plan(None, "name"), '{"name":1}'),
        (plan(None, "2", format_=Format.CSV), "down\nlater\n"),
        (plan(None, None, format_=Format.XML), '{"a":1}'),
    ],
)
def test_another_kind_of_document(made: Plan, body: str) -> None:
    with pytest.raises(WrongDocument):
        picked(made, body)


def test_columns_that_some_rows_have_are_enough() -> None:
    assert picked(plan(None, "a", "z"), "a,b\n1,2\n") == [["1", MISSING]]
    assert picked(plan(None, "b"), "a,b\n1,\n") == [[MISSING]]
    assert picked(plan(None, "b"), "a,b\n") == []
    assert picked(plan(None, "3", format_=Format.CSV), "a,b\n1,2,3\n") == [["3"]]


def test_a_path_that_means_nothing_in_the_document_s_language() -> None:
    with pytest.raises(PathFault):
        picked(plan("$", ["$.a", "no path"]), "[{}]")
    with pytest.raises(PathFault):
        picked(plan(None, "deep [m"), "<x/>")  # a heading, but no XPath


def test_paths_compiled_for_another_language_are_compiled_again() -> None:
    made = Plan(
        (Field("A", 5, at=(compile_column("$.a"),)),),
        Format.JSON,
        compile_column("$.l"),
    )
    assert picked(made, '{"l":[{"a":"x"}]}') == [["x"]]
    assert picked(Plan((Field("A", 5, at=(compile_column("v"),)),), Format.XML), "<l><v>1</v></l>") == [["1"]]
    assert picked(Plan((Field("A", 5, at=(compile_jsonpath("$"),)),), Format.CSV), "$\n1\n") == [["1"]]


# "`required` (a row without the value makes the reply 551)"


def test_a_row_without_a_required_value_names_the_field() -> None:
    field = Field("DEPTH", 5, at=(compile_jsonpath("$.d"),), required=True)
    made = Plan((Field("A", 1), field))
    assert picked(made, '[{"d":null},{"d":""}]') == [[{"d": None}, None], [{"d": ""}, ""]]
    with pytest.raises(WrongDocument, match="No value for DEPTH"):
        picked(made, '[{"d":1},{}]')


# PICK: "A name that matches no member exactly matches case-blind if only one does"


def test_blind_names() -> None:
    made = plan("$.items", "$.name", blind=True)
    assert picked(made, '{"Items":[{"NAME":"a"},{"Name":"b","NAME":"c"},{"name":"d","NAME":"e"}]}') == [
        ["a"],
        [MISSING],
        ["d"],
    ]
    assert picked(plan("/list/i", "@k", blind=True), "<List><I K='a'/></List>") == [["a"]]
    assert picked(plan(None, "name", blind=True), "NAME\nQuay\n") == [["Quay"]]
    assert picked(plan("$.items", "$.name"), '{"Items":[{"name":"a"}]}') == []


def test_too_many_rows() -> None:
    body = b"[" + b"0," * limits.ROWS + b"0]"
    with pytest.raises(TooLarge):
        RowReader(plan(None, None, format_=Format.JSON)).read(body, "", None)
    assert RowReader(plan(None, None)).read(b"[1]", "", None) == [Row((number("1"),))]


@pytest.mark.parametrize(("rows", "at"), [("b", "c"), (None, "b")])
def test_json_asked_without_a_dollar_says_what_to_do(rows: str | None, at: str) -> None:
    with pytest.raises(WrongDocument, match="begin paths with"):
        RowReader(plan(rows, at)).read(b' {"b": 1}', "application/json", None)


@pytest.mark.parametrize(
    ("rows", "at", "body", "media_type"),
    [("/a/b", ".", b"<a><b>x</b></a>", "application/xml"), (None, "name", b"name\nx\n", "text/csv")],
)
def test_a_reader_reads_one_document_after_another(
    rows: str | None, at: str, body: bytes, media_type: str
) -> None:
    reader = RowReader(plan(rows, at))
    for _ in range(2):
        assert reader.read(body, media_type, None) == [Row(("x",))]
