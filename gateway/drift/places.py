"""A document -> its places: where values stand in it, whatever their number, and which are rows.

A place is a path with every index left open, so that all elements of a list have one: of JSON
`("tides", EACH, "height")`, of XML and HTML element names and `@attribute`, of CSV a heading.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from lxml import etree

from gateway.extract.json_text import parse_json_or_lines, parse_ndjson
from gateway.extract.jsonpath import compile_jsonpath
from gateway.extract.markup import Markup, compile_xpath, parse_html, parse_xml
from gateway.extract.plan import Format, Plan
from gateway.extract.rows import format_of
from gateway.extract.table import parse_csv
from gateway.extract.values import JsonValue, Value

EACH: Final = "\0"
"""The elements of a JSON list, in a place."""
FIRST: Final = "\1"
"""The first of them, where a place is written as a path."""
ANY_NAMESPACE: Final = ("*[local-name()='", "']")
"""What stands around the name of an element whose namespace the plan has no prefix for."""

Place: TypeAlias = tuple[str, ...]
_PLAIN: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")  # what needs no brackets, RFC 9535 section 2.5.1
_CONTROL: Final = re.compile(r"[\x00-\x1f]")  # must be escaped, section 2.3.1.1
_DEEPEST: Final = 60  # places within one another that are looked at


@dataclass(frozen=True, slots=True)
class Document:
    """A document as it was fetched: see gateway.extract.pipeline."""

    body: bytes
    media_type: str = ""
    charset: str | None = None


@dataclass(slots=True)
class Places:
    """`leaves` are values by their places, in the document's order; `groups` are what holds others, by what
    they are; `lists` are the places of what there may be many of, and how many there are. `path` writes a
    place below another in the language of the document, `rows` that of a list as the path of its elements.
    `select` gives the rows that a plan finds. `text`: all values are text.
    """

    leaves: dict[Place, list[Value]]
    groups: list[tuple[object, Place]]
    lists: dict[Place, int]
    path: Callable[[Place], str]
    rows: Callable[[Place], str]
    select: Callable[[Plan], Sequence[object]]
    text: bool

    def row_place(self, plan: Plan) -> Place | None:
        """The place of the plan's rows; None where there is none, or single values are not in one list."""
        if not self.groups:
            return ()
        found = {id(group): place for group, place in reversed(self.groups)}
        rows = self.select(plan)
        place = next((found[id(row)] for row in rows if id(row) in found), None)
        return self._list_of(rows) if place is None else place

    def _list_of(self, rows: Sequence[object]) -> Place | None:
        """The place of rows that are single values, in the list that has them all."""
        wanted = set(map(id, rows))
        for group, place in self.groups:
            if wanted and isinstance(group, list) and wanted <= set(map(id, group)):
                return (*place, EACH)
        return None


@dataclass(slots=True)
class _Walk:
    leaves: dict[Place, list[Value]] = field(default_factory=dict)
    groups: list[tuple[object, Place]] = field(default_factory=list)
    lists: dict[Place, int] = field(default_factory=dict)


def places(document: Document, plan: Plan) -> Places:
    """Where everything stands, in the format that the plan reads it in. WrongDocument, TooLarge."""
    body, charset = document.body, document.charset
    match format_of(plan, body, document.media_type):
        case Format.JSON | Format.AUTO:
            return _json_places(parse_json_or_lines(body, document.media_type, charset)[0])
        case Format.NDJSON:
            return _json_places(parse_ndjson(body, charset))
        case Format.XML:
            return _markup_places(parse_xml(body, charset), plan.namespaces)
        case Format.HTML:
            return _markup_places(parse_html(body, charset), {})
        case Format.CSV:  # pragma: no branch — mypy knows that these are all
            return _table_places(body, charset)


def _json_places(root: JsonValue) -> Places:
    walk = _Walk()
    _walk_json(root, (), walk)

    def select(plan: Plan) -> Sequence[object]:
        path = None if plan.rows is None else compile_jsonpath(plan.rows.text)
        selected = [root] if path is None else path.select(root, plan.blind)
        only = selected[0] if selected and (path is None or path.singular) else None
        return only if isinstance(only, list) else selected

    def rows(place: Place) -> str:
        return _json_path((*place, EACH))

    return Places(walk.leaves, walk.groups, walk.lists, _json_path, rows, select, text=False)


def _walk_json(value: JsonValue, place: Place, walk: _Walk) -> None:
    if isinstance(value, dict | list) and value and len(place) < _DEEPEST:
        walk.groups.append((value, place))
    else:
        walk.leaves.setdefault(place, []).append(value)
    if len(place) >= _DEEPEST:
        return
    if isinstance(value, dict):
        for name, each in value.items():
            _walk_json(each, (*place, name), walk)
    elif isinstance(value, list):
        walk.lists[place] = walk.lists.get(place, 0) + len(value)
        for each in value:
            _walk_json(each, (*place, EACH), walk)


def _json_path(place: Place) -> str:
    return "$" + "".join(_json_step(each) for each in place)


def _json_step(name: str) -> str:
    if name in (EACH, FIRST):
        return "[*]" if name == EACH else "[0]"
    if _PLAIN.fullmatch(name):
        return f".{name}"
    quoted = name.replace("\\", "\\\\").replace("'", "\\'")
    return "['" + _CONTROL.sub(lambda match: f"\\u{ord(match[0]):04x}", quoted) + "']"


def _markup_places(markup: Markup, namespaces: Mapping[str, str]) -> Places:
    walk = _Walk()
    prefixes = {uri: prefix for prefix, uri in namespaces.items()}
    name = _Names(markup, prefixes)
    _walk_markup(markup.root, (name.of(markup.root.tag),), walk, name)
    walk.groups.append((markup, ()))

    def select(plan: Plan) -> Sequence[object]:
        if plan.rows is None:
            return [markup]
        return compile_xpath(plan.rows.text, namespaces).select(markup, markup, plan.blind)

    def rows(place: Place) -> str:
        return "/" + "/".join(place)

    return Places(walk.leaves, walk.groups, walk.lists, "/".join, rows, select, text=True)


@dataclass(frozen=True, slots=True)
class _Names:
    """Names as an XPath of the plan writes them."""

    markup: Markup
    prefixes: Mapping[str, str]

    def of(self, tag: str) -> str:
        name = etree.QName(tag)
        uri = name.namespace or ""
        if self.markup.html or uri == (self.markup.namespace or ""):
            return name.localname
        return self._of_namespace(uri, name.localname)

    def of_attribute(self, tag: str) -> str:
        """The same of an attribute: without a prefix it is in no namespace (XML Names 1.0 section 6.2)."""
        name = etree.QName(tag)
        return f"@{self._of_namespace(name.namespace, name.localname) if name.namespace else name.localname}"

    def _of_namespace(self, uri: str, name: str) -> str:
        prefix = self.prefixes.get(uri) if uri else None
        return f"{ANY_NAMESPACE[0]}{name}{ANY_NAMESPACE[1]}" if prefix is None else f"{prefix}:{name}"


def _walk_markup(element: etree._Element, place: Place, walk: _Walk, names: _Names) -> None:
    walk.groups.append((element, place))
    walk.lists[place] = walk.lists.get(place, 0) + 1
    for name, value in element.attrib.items():
        walk.leaves.setdefault((*place, names.of_attribute(str(name))), []).append(str(value))
    children = [each for each in element if isinstance(each.tag, str)]
    if not children or len(place) >= _DEEPEST:
        walk.leaves.setdefault(place, []).append("".join(map(str, element.itertext())))
        return
    for each in children:
        _walk_markup(each, (*place, names.of(str(each.tag))), walk, names)


def _table_places(body: bytes, charset: str | None) -> Places:
    table = parse_csv(body, charset)
    leaves: dict[Place, list[Value]] = {}
    for index, heading in enumerate(table.headings):
        cells: Sequence[Value] = [row[index] for row in table.rows if index < len(row) and row[index]]
        leaves.setdefault((heading.strip(),), []).extend(cells)
    return Places(leaves, [], {}, "".join, "".join, lambda _: (), text=True)


def last_name(text: str) -> str:
    """The last name in a path of any language: "height" of `$.tides[0].height`."""
    found = [each for each in re.findall(r"[\w-]+", text) if not each.isdigit()]
    return found[-1] if found else text


def below(place: Place, prefix: Place) -> Place | None:
    """A place as seen from another that it is in; None where it is not."""
    return place[len(prefix) :] if place[: len(prefix)] == prefix else None
