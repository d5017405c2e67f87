"""[[source.NAME.field]] -> Fields: options that fit their kind, widths that fit a record."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Final

from adapters import limits
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.document.positions import Path
from gateway.catalogue.keys.key import DATES, FOLD_KINDS, WIDTHS, words_of
from gateway.catalogue.keys.table import KEYS
from gateway.catalogue.schema.report import Report, shown
from gateway.catalogue.schema.source.paths import PathReader
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.zones import known_zone, near_zone
from gateway.extract.fields.patterns import compile_out, in_fault, out_fault
from gateway.extract.plan import Align, Cut, Field, Fold, Kind
from gateway.extract.plan import Path as CompiledPath

_FIELD_NAME: Final = re.compile(rf"(?! )[ -~]{{1,{limits.NAME_CHARACTERS}}}(?<! )")
_SAMPLES: Final = tuple(
    datetime(2001, month, day, hour, 5, 9, tzinfo=UTC)
    for month in range(1, 13)
    for day, hour in ((1, 3), (10, 13), (21, 20), (25, 0), (26, 12), (27, 11), (28, 23))
)
"""Moments with every month and every day of the week in them, to see how short a pattern can write."""


def at_texts(values: Mapping[str, object]) -> list[str]:
    """The paths of one field as the file has them, right or wrong."""
    at = values.get("at")
    return [each for each in (at if isinstance(at, list) else [at]) if isinstance(each, str)]


@dataclass(frozen=True, slots=True)
class ReadField:
    """One field of the file: `field` is None where it lacks a name or a width; `unfolded`: surely no fold."""

    path: Path
    field: Field | None
    unfolded: bool


def read_field(report: Report, path: Path, values: Mapping[str, object], paths: PathReader) -> ReadField:
    """One field, as far as it can be read."""
    table = Table(report, "field", path, values)
    return ReadField(path, _read(table, paths), table.lacks("fold"))


def _read(table: Table, paths: PathReader) -> Field | None:
    kind = table.member("kind", Kind)
    if kind is not None or table.lacks("kind"):
        kind = kind or Kind.TEXT
        _check_options(table, kind)
    name, width = _name(table), _width(table, kind)
    decimals = table.integer("decimals")
    field = Field(
        name=name or "",
        width=width or 1,
        kind=kind or Kind.TEXT,
        at=_at(table, paths),
        decimals=2 if decimals is None else decimals,
        scale=table.decimal("scale"),
        offset=table.decimal("offset"),
        align=table.member("align", Align),
        fill=_fill(table),
        missing=_mark(table, "missing", "", width),
        null=_mark(table, "null", "-", width),
        map=MappingProxyType(_map(table, kind, width)),
        in_pattern=_pattern(table, "in"),
        out_pattern=_pattern(table, "out"),
        zone=_zone(table),
        cut=table.member("cut", Cut) or Cut.END,
        required=table.flag("required") or False,
        fold=table.member("fold", Fold),
    )
    if field.required and "missing" in table:
        found = "missing beside required = true, which leaves nothing missing"
        table.report.at_key(table.at("missing"), found, "one of the two")
    if kind is not None and field.fold is not None and kind not in FOLD_KINDS[field.fold]:
        allowed = " ".join(each.value for each in Fold if kind in FOLD_KINDS[each])
        table.wrong("fold", f"{field.fold.value} of a {kind.value}", allowed=allowed)
    if name is None or width is None or kind is None:
        return None
    _check_width(table, field)
    return field


def _check_options(table: Table, kind: Kind) -> None:
    known = KEYS["field"]
    fitting = " ".join(each.name for each in known.values() if each.kinds is None or kind in each.kinds)
    for key in known.values():
        if key.name in table and key.kinds is not None and kind not in key.kinds:
            kinds = " ".join(each.value for each in Kind if each in key.kinds)
            found = f"{key.name} on a {kind.value} field; it goes with {kinds}"
            table.report.at_key(table.at(key.name), found, fitting)


def _name(table: Table) -> str | None:
    text = table.text("name")
    if text is None or _FIELD_NAME.fullmatch(text):
        return text
    # What is left of a word without its letters beyond ASCII would be no name that anybody wants.
    near = re.sub(r"[^!-~]+", " ", text).strip()[: limits.NAME_CHARACTERS].strip() if text.isascii() else ""
    table.wrong("name", shown(text), near)
    return None


def _width(table: Table, kind: Kind | None) -> int | None:
    width = table.integer("width")
    if table.lacks("width") and kind is not None:
        width = WIDTHS.get(kind)
        if width is None:
            table.report.at_key(table.path, "no width", f"width = {KEYS['field']['width'].allowed}")
    return width


def _at(table: Table, paths: PathReader) -> tuple[CompiledPath, ...]:
    value = table.mixed("at")
    if value is None:
        return ()
    path = table.at("at")
    found: list[CompiledPath] = []
    for index, each in enumerate(value if isinstance(value, list) else [value]):
        at = (*path, index) if isinstance(value, list) else path
        if isinstance(each, bool) or not isinstance(each, int | str):
            table.report.at_value(at, shown(each), KEYS["field"]["at"].allowed)
            continue
        if isinstance(each, int):
            compiled = paths.read_number(at, each)
        else:
            text = table.clean(at, each, KEYS["field"]["at"].allowed)
            compiled = None if text is None else paths.read(at, text)
        if compiled is not None:
            found.append(compiled)
    if value == []:
        table.report.at_value(path, "an empty list", KEYS["field"]["at"].allowed)
    return tuple(found)


def _fill(table: Table) -> str | None:
    text = table.text("fill")
    if text is not None and (len(text) != 1 or not text.isascii()):
        table.wrong("fill", shown(text))
        return None
    return text


def _mark(table: Table, key: str, default: str, width: int | None) -> str:
    text = table.text(key, empty=True)
    if text is None:
        return default
    if width is not None and len(text) > width:
        table.wrong(key, f"{len(text)} characters", allowed=f"at most {width}, the field's width")
    return text


def _map(table: Table, kind: Kind | None, width: int | None) -> dict[str, str]:
    """The texts that values are replaced by, each short enough to be shown whole."""
    measured = kind in {Kind.TEXT, Kind.CODE} and "scale" not in table and "offset" not in table
    shown_texts: dict[str, str] = {}
    for path, sent, text in table.text_table("map"):
        if measured and width is not None and len(text) > width:
            table.report.at_value(path, f"{len(text)} characters", f"at most {width}, the field's width")
        shown_texts[sent] = text
    return shown_texts


def _pattern(table: Table, key: str) -> str | None:
    text = table.text(key)
    if text is None:
        return None
    fault = in_fault(text) if key == "in" else out_fault(text)
    if fault is None:
        return text
    directive = re.search(r"%.?.?$", fault)
    start = max(0, text.find(directive.group())) if directive is not None else 0
    length = len(directive.group()) if directive is not None else len(text)
    if fault.startswith("a %"):
        start, length = text.rindex("%"), 1
    allowed = "%Y %m %d %H %M %S and the other directives of strftime, %% for a %"
    table.report.inside(table.at(key), TextFault(fault, start, length, allowed))
    return None


def _zone(table: Table) -> str | None:
    text = table.text("zone")
    if text is None:
        return None
    zone = known_zone(text)
    if zone is None:
        table.wrong("zone", shown(text), near_zone(text))
    return zone


def _check_width(table: Table, field: Field) -> None:
    """A field that could never show its value whole."""
    where = "width" if "width" in table else "out" if "out" in table else "decimals"
    least = field.decimals + 2 if field.decimals else 1
    if field.kind is Kind.FIXED and table.settled("decimals") and field.width < least:
        shape = "0." + "0" * field.decimals
        table.wrong(where, f"{field.width}, too narrow for {shape}", str(least), f"at least {least}")
    if field.kind in DATES and (table.lacks("out") or field.out_pattern is not None):
        default = "%Y-%m-%d" if field.kind is Kind.DATE else "%H:%M"
        pattern = field.out_pattern or default
        write = compile_out(pattern).write
        least = min(len(write(each).strip()) for each in _SAMPLES)
        if field.width < least:
            found = f"width {field.width}, where {pattern} writes {least} characters"
            allowed = f"at least {least}, or another out"
            table.wrong(where, found, str(least) if where == "width" else "", allowed)


def check_fields(report: Report, fields: Sequence[ReadField], gap: int, *, intact: bool) -> None:
    """What concerns all fields together: names, the record's width, folding."""
    seen: set[str] = set()
    column = -gap
    folding = any(each.field is not None and each.field.fold is not None for each in fields)
    for each in fields:
        if each.unfolded and folding and intact:
            report.at_key(each.path, "a field without fold beside folded ones", " ".join(words_of(Fold)))
        if each.field is None:
            continue
        name = each.field.name.casefold()
        if name in seen and intact:
            found = f"{shown(each.field.name)} for the second time"
            report.at_value((*each.path, "name"), found, "each name once, in any case")
        seen.add(name)
        before, column = column, column + gap + each.field.width
        if before <= limits.RECORD_WIDTH < column:
            found = f"a record that is {column} characters wide up to here"
            allowed = f"at most {limits.RECORD_WIDTH}, gaps counted, mark and check not"
            report.at_value((*each.path, "width"), found, allowed)
