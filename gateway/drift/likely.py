"""Values that are not where they were -> where they probably are now, as paths that can be pasted.

Marks for a place: the same name or one like it, the same values, the same kind of value, and that it was not
there before. A path is only told where it works: it is tried on the document.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from itertools import islice
from typing import Final

from adapters.errors import HeadraceError
from gateway.drift.kinds import kind_of
from gateway.drift.places import ANY_NAMESPACE, EACH, FIRST, Document, Place, Places, below, last_name
from gateway.extract.paths import compile_path
from gateway.extract.plan import Field, Format, Path, Plan, Row
from gateway.extract.rows import RowReader, format_of
from gateway.extract.table import parse_csv
from gateway.extract.values import MISSING, JsonNumber, Value

MOST: Final = 3
"""Paths that are told for one field, the likeliest first."""
_ENOUGH: Final = 3.0  # marks
_ALIKE: Final = 0.6  # of difflib's ratio, from which names are alike
_TELLING: Final = 3  # characters of a value that says something by itself


@dataclass(frozen=True, slots=True)
class Lost:
    """A field whose path finds nothing: its name in the path, and what it gave when it was recorded."""

    field: Field
    values: tuple[Value, ...]

    @property
    def name(self) -> str:
        """The last name of its first path."""
        return _plain(last_name(self.field.at[0].text)) if self.field.at else ""


@dataclass(frozen=True, slots=True)
class LikelyRows:
    """What are probably the rows now: the path as text, and compiled. `new`: there was no list before."""

    text: str
    path: Path
    new: bool


def read_rows(document: Document, plan: Plan) -> list[Row]:
    """The rows, none of whose fields is required; nor, of a CSV file, that any of its columns is there."""
    fields = [replace(each, required=False) for each in plan.fields]
    if format_of(plan, document.body, document.media_type) is Format.CSV:
        headings = parse_csv(document.body, document.charset).headings
        there = next((each.strip() for each in headings if each.strip()), "1")
        fields.append(Field("", 1, at=(compile_path(there, Format.CSV, {}),)))
    reader = RowReader(replace(plan, fields=tuple(fields)))
    rows = reader.read(document.body, document.media_type, document.charset)
    return [replace(row, values=row.values[: len(plan.fields)]) for row in rows]


def likely_paths(
    lost: Lost, document: Document, plan: Plan, now: Places, before: Places, *, new: bool = False
) -> list[str]:
    """Paths from a row to where the field probably is, at most MOST. `new`: only where nothing was before."""
    prefix = now.row_place(plan)
    if prefix is None:
        return []
    marked = []
    for place, values in now.leaves.items():
        rest = below(place, prefix)
        if rest is None or not (rest or prefix) or (new and place in before.leaves):
            continue
        marks = _marks(lost, rest, values, new=place not in before.leaves)
        if marks >= _ENOUGH:
            marked.append((marks, now.path(tuple(FIRST if each == EACH else each for each in rest))))
    marked.sort(key=lambda each: -each[0])
    return list(islice(_working((text for _, text in marked), lost.field, document, plan), MOST))


def _marks(lost: Lost, place: Place, values: Sequence[Value], *, new: bool) -> float:
    step = next((each for each in reversed(place) if each != EACH), "").lstrip("@")
    name = _plain(step.removeprefix(ANY_NAMESPACE[0]).removesuffix(ANY_NAMESPACE[1]))
    marks = 1.0 if new else -2.0
    if name == lost.name and name:
        marks += 3.0
    else:
        ratio = SequenceMatcher(None, name, lost.name, autojunk=False).ratio()
        marks += 2.0 * ratio if ratio >= _ALIKE else 0.0
    was, is_now = (Counter(map(text_of, each)) for each in (lost.values, values))
    common = was & is_now
    share = common.total() / max(1, min(was.total(), is_now.total()))
    telling = len(common) > 1 or any(len(text) >= _TELLING for text in common)
    marks += share * (4.0 if telling else 1.5)
    kinds = {kind_of(each) for each in lost.values} & {kind_of(each) for each in values}
    return marks + (1.0 if kinds else 0.0)


def _plain(name: str) -> str:
    """A name without case and without what parts its words."""
    return "".join(each for each in name.casefold() if each.isalnum())


def text_of(value: Value) -> str:
    """A value as it is compared with others."""
    if isinstance(value, JsonNumber):
        return value.text
    return value if isinstance(value, str) else repr(value)


def _working(texts: Iterable[str], field: Field, document: Document, plan: Plan) -> Iterable[str]:
    for text in dict.fromkeys(texts):
        try:
            path = compile_path(text, plan.format, plan.namespaces)
            only = replace(plan, fields=(replace(field, at=(path,)),))
            if any(row.values[0] is not MISSING for row in read_rows(document, only)):
                yield text
        except HeadraceError:
            continue


def likely_rows(document: Document, plan: Plan, now: Places, before: Places) -> LikelyRows | None:
    """The list where most of the plan's fields are found, or a JSON object that has them all."""
    best: tuple[float, int] = 0.0, 0
    found: LikelyRows | None = None
    objects, objects_before = (
        {
            place: None
            for value, place in each.groups
            if place and isinstance(value, dict) and EACH not in place
        }
        for each in (now, before)
    )
    count = len(plan.fields)
    lists = [(now.rows(place), place not in before.lists, 1) for place in now.lists]
    singles = [(now.path(place), place not in objects_before, count) for place in objects]
    for text, new, least in [*lists, *singles]:
        try:
            path = compile_path(text, plan.format, plan.namespaces)
            rows = read_rows(document, replace(plan, rows=path))
        except HeadraceError:
            continue
        if not rows:
            continue
        hits = sum(any(row.values[index] is not MISSING for row in rows) for index in range(count))
        marks = hits / max(1, count), len(rows)
        if marks > best and hits >= max(1, least):
            best, found = marks, LikelyRows(text, path, new)
    return found
