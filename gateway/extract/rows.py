"""bytes + Plan -> Rows: reads the document, selects its rows, and picks each field's value from each row.

CONTRACT section 4 "Documents and rows". Fields are picked row by row, so that a row without a value keeps its
place. What the contract leaves open, and is settled here:

- `auto` without any path: a media type of JSON, or a first mark `{` or `[`, means JSON.
- Only `text/html` means HTML under `auto`; `application/xhtml+xml` is XML, which it is.
- A row of CSV that is itself the value is the list of its cells. An empty cell is no hit: CSV has no other
  way to leave a value out (and the W3C's model of tabular data takes it for null; from memory).
- A CSV without any of the columns is a WrongDocument: `auto` takes every other text for CSV, and a page that
  says "down for repairs" should not become blank records, nor none.
"""

from collections.abc import Sequence
from typing import Final

from adapters import limits
from adapters.errors import TooLarge, WrongDocument
from gateway.extract.json_text import is_line_type, parse_json, parse_json_or_lines, parse_ndjson
from gateway.extract.jsonpath import JsonPath, compile_jsonpath
from gateway.extract.markup import Markup, Node, XmlPath, compile_xpath, parse_html, parse_xml, string_value
from gateway.extract.paths import OpenPath
from gateway.extract.plan import Format, Path, Plan, Row
from gateway.extract.table import ColumnPath, Table, compile_column, parse_csv
from gateway.extract.values import MISSING, JsonValue, Value

# With the NULs of UTF-16 and UTF-32, and the bytes of their and UTF-8's byte order marks.
_BLANKS_AND_MARKS: Final = b" \t\r\n\f\v\0\xef\xbb\xbf\xfe\xff"
_MARKS_LOOKED_AT: Final = 4_096


class RowReader:
    """The rows of any document, as one plan wants them; paths are made ready once for each language."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._required = tuple(index for index, each in enumerate(plan.fields) if each.required)
        self._json: _JsonRows | None = None
        self._markup: _MarkupRows | None = None
        self._table: _TableRows | None = None

    def read(self, body: bytes, media_type: str, charset: str | None) -> list[Row]:
        """Every row of the document, in its order.

        Raises WrongDocument (not that kind of document, or a row without a required value), TooLarge, and
        PathFault (a path that means nothing in the document's language).
        """
        format_ = format_of(self._plan, body, media_type)
        match format_:
            case Format.JSON:
                rows = self._json_rows().read(parse_json(body, charset))
            case Format.NDJSON:
                rows = self._json_rows().read(parse_ndjson(body, charset))
            case Format.AUTO:
                rows = self._json_rows().read(parse_json_or_lines(body, media_type, charset)[0])
            case Format.XML:
                rows = self._markup_rows().read(parse_xml(body, charset))
            case Format.HTML:
                rows = self._markup_rows().read(parse_html(body, charset))
            case Format.CSV:  # pragma: no branch — mypy knows that these are all
                rows = self._csv_rows(body, charset)
        for row in rows:
            for index in self._required:
                if row.values[index] is MISSING:
                    raise WrongDocument(f"No value for {self._plan.fields[index].name}")
        return rows

    def _csv_rows(self, body: bytes, charset: str | None) -> list[Row]:
        try:
            return self._table_rows().read(parse_csv(body, charset))
        except WrongDocument as error:
            if body.lstrip(_BLANKS_AND_MARKS)[:1] in {b"{", b"["} and self._plan.format is Format.AUTO:
                raise WrongDocument("That is JSON: begin paths with $") from error
            raise

    def _json_rows(self) -> "_JsonRows":
        if self._json is None:
            self._json = _JsonRows(self._plan)
        return self._json

    def _markup_rows(self) -> "_MarkupRows":
        if self._markup is None:
            self._markup = _MarkupRows(self._plan)
        return self._markup

    def _table_rows(self) -> "_TableRows":
        if self._table is None:
            self._table = _TableRows(self._plan)
        return self._table


def format_of(plan: Plan, body: bytes, media_type: str) -> Format:
    """How `body` is read: the plan's format, or what `auto` makes of it; AUTO then is JSON or JSON lines."""
    if plan.format is not Format.AUTO:
        return plan.format
    paths = [path for each in plan.fields for path in each.at]
    if plan.rows is not None:
        paths.append(plan.rows)
    if any(path.text.lstrip().startswith("$") for path in paths):
        return Format.AUTO
    mark = (body[:_MARKS_LOOKED_AT].lstrip(_BLANKS_AND_MARKS) or body.lstrip(_BLANKS_AND_MARKS))[:1]
    if mark == b"<":
        return Format.HTML if media_type == "text/html" else Format.XML
    json_type = media_type.endswith(("/json", "+json")) or is_line_type(media_type)
    if not paths and (json_type or mark in {b"{", b"["}):
        return Format.AUTO
    return Format.CSV


def _counted(rows: int) -> None:
    if rows > limits.ROWS:
        raise TooLarge("Too many rows")


class _JsonRows:
    """JSON and NDJSON: a singular query that selects an array means its elements."""

    def __init__(self, plan: Plan) -> None:
        self._blind = plan.blind
        self._path = None if plan.rows is None else _json_path(plan.rows)
        self._paths = tuple(tuple(_json_path(path) for path in each.at) for each in plan.fields)

    def read(self, root: JsonValue) -> list[Row]:
        selected = [root] if self._path is None else self._path.select(root, self._blind)
        if selected and (self._path is None or self._path.singular):
            only = selected[0]
            selected = only if isinstance(only, list) else selected
        _counted(len(selected))
        return [Row(tuple([self._value(paths, row) for paths in self._paths])) for row in selected]

    def _value(self, paths: Sequence[JsonPath], row: JsonValue) -> Value:
        if not paths:
            return row
        for path in paths:
            value = path.first(row, self._blind)
            if value is not MISSING:
                return value
        return MISSING


def _json_path(path: Path) -> JsonPath:
    return path if isinstance(path, JsonPath) else compile_jsonpath(path.text)


class _MarkupRows:
    """XML and HTML: every selected node is a row."""

    def __init__(self, plan: Plan) -> None:
        self._blind = plan.blind
        self._namespaces = plan.namespaces
        self._path = None if plan.rows is None else self._xpath(plan.rows)
        self._paths = tuple(tuple(self._xpath(path) for path in each.at) for each in plan.fields)

    def _xpath(self, path: Path) -> XmlPath:
        if isinstance(path, XmlPath):
            return path
        if isinstance(path, OpenPath) and path.markup is not None:
            return path.markup
        return compile_xpath(path.text, self._namespaces)

    def read(self, markup: Markup) -> list[Row]:
        selected: Sequence[Node | str] = [markup.root]
        if self._path is not None:
            selected = self._path.select(markup, markup, self._blind)
        _counted(len(selected))
        return [Row(tuple([self._value(paths, row, markup) for paths in self._paths])) for row in selected]

    def _value(self, paths: Sequence[XmlPath], row: Node | str, markup: Markup) -> Value:
        if not paths:
            return string_value(row, markup)
        for path in paths:
            found = path.select(row, markup, self._blind)
            if found:
                return string_value(found[0], markup)
        return MISSING


class _TableRows:
    """CSV: every line after the headings is a row."""

    def __init__(self, plan: Plan) -> None:
        if plan.rows is not None:
            raise WrongDocument("Neither XML nor HTML")
        self._blind = plan.blind
        self._paths = tuple(tuple(_column(path) for path in each.at) for each in plan.fields)

    def read(self, table: Table) -> list[Row]:
        places = [[path.place(table, self._blind) for path in paths] for paths in self._paths]
        known = [place for alternatives in places for place in alternatives if place is not None]
        widest = max(map(len, (table.headings, *table.rows)))
        if any(self._paths) and not any(place < widest for place in known):
            raise WrongDocument("None of the columns is there")
        _counted(len(table.rows))
        return [Row(tuple([_cell(alternatives, row) for alternatives in places])) for row in table.rows]


def _cell(places: Sequence[int | None], row: tuple[str, ...]) -> Value:
    """The first of a field's columns that has something in this line; without columns, the whole line."""
    if not places:
        return list(row)
    for place in places:
        if place is not None and place < len(row) and row[place]:
            return row[place]
    return MISSING


def _column(path: Path) -> ColumnPath:
    if isinstance(path, ColumnPath):
        return path
    return path.column if isinstance(path, OpenPath) else compile_column(path.text)
