"""An invented harbour's tides in three formats, plans that read them, and paths that can be pasted."""

import json
from dataclasses import replace
from typing import Any

from gateway.drift.comparing import Finding, compared
from gateway.drift.places import Document
from gateway.extract.paths import compile_path
from gateway.extract.plan import Field, Format, Kind, Plan
from gateway.extract.rows import RowReader
from gateway.extract.values import Value

TIDES: dict[str, Any] = {
    "station": "Mole",
    "tides": [
        {"time": "06:57", "kind": "high", "height": {"metres": 3.1, "datum": "chart"}, "spring": True},
        {"time": "13:21", "kind": "low", "height": {"metres": 1.01, "datum": "chart"}, "spring": False},
        {"time": "19:34", "kind": "high", "height": {"metres": 3.25, "datum": "chart"}, "spring": True},
    ],
}
XML = (
    "<harbour><tides><tide time='06:57'><kind>high</kind><metres>3.10</metres></tide>"
    "<tide time='13:21'><kind>low</kind><metres>1.01</metres></tide></tides></harbour>"
)
CSV = "time,kind,metres\n06:57,high,3.10\n13:21,low,1.01\n"


def plan(rows: str | None, *fields: tuple[str, str], format_: Format = Format.AUTO) -> Plan:
    """Fields by name and path, each 8 wide."""
    return Plan(
        tuple(Field(name, 8, at=(compile_path(text, format_, {}),)) for name, text in fields),
        format=format_,
        rows=None if rows is None else compile_path(rows, format_, {}),
    )


JSON_PLAN = plan(
    "$.tides[*]",
    ("TIME", "$.time"),
    ("KIND", "$.kind"),
    ("METRES", "$.height.metres"),
    ("SPRING", "$.spring"),
)
XML_PLAN = plan("/harbour/tides/tide", ("TIME", "@time"), ("KIND", "kind"), ("METRES", "metres"))
CSV_PLAN = plan(None, ("TIME", "time"), ("KIND", "kind"), ("METRES", "metres"))


def document(value: object) -> Document:
    """A JSON value, or text, as it is fetched."""
    if isinstance(value, str):
        kind = "application/xml" if value.startswith("<") else "text/csv"
        return Document(value.encode(), kind)
    return Document(json.dumps(value).encode(), "application/json")


def drift(which: Plan, before: object, now: object) -> list[Finding]:
    """Only what something is to be done about."""
    return [each for each in compared(which, document(before), document(now)) if each.drift]


def pasted(which: Plan, finding: Finding, now: object) -> list[Value]:
    """What the field gives with the likeliest path in the catalogue instead of its own."""
    path = compile_path(finding.likely[0], which.format, which.namespaces)
    if not finding.field:
        which = replace(which, rows=path)
        found = RowReader(which).read(document(now).body, document(now).media_type, None)
        return [row.values[0] for row in found]
    only = next(each for each in which.fields if each.name == finding.field)
    narrow = replace(which, fields=(replace(only, at=(path,)),))
    return [
        row.values[0] for row in RowReader(narrow).read(document(now).body, document(now).media_type, None)
    ]


WIDE = replace(
    JSON_PLAN, fields=(replace(JSON_PLAN.fields[2], kind=Kind.FIXED, width=4), JSON_PLAN.fields[1])
)
