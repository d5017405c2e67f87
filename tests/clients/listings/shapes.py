"""Sources of other shapes than the demo's, over the same documents, and what their records say.

What is expected is worked out here from the documents on disk, with the standard library and CONTRACT
section 4 (text is cut and left-aligned; numbers are right-aligned, half away from zero), and with nothing
of the gateway.
"""

import csv
import json
from datetime import datetime, timedelta, timezone
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import demo_site

FILES = Path(demo_site.__file__).parent / "files"

SHAPES = """
[source.one]
about = "One field"
url = "site:tides/north-mole.json"
rows = "$.events"

[[source.one.field]]
name = "WHEN"
at = "$.when"
width = 25

[source.wide]
about = "As wide as a record with a check can be"
url = "site:tides/north-mole.json"
rows = "$.events"

[[source.wide.field]]
name = "WHEN"
at = "$.when"
width = 25

[[source.wide.field]]
name = "KIND"
at = "$.kind"
width = 100

[[source.wide.field]]
name = "AGAIN"
at = "$.when"
width = 124

[source.many]
about = "A timetable, over and over"
url = "site:ferries/timetable.csv"
format = "csv"
"""

_MANY = (("LINE", "line", 3), ("TO", "3", 10), ("FARE", "fare", 6))
SHAPES += "".join(
    f'\n[[source.many.field]]\nname = "{name}{turn}"\nat = "{at}"\nwidth = {width}\n'
    for turn in range(1, 5)
    for name, at, width in _MANY
)

Record = list[tuple[str, str]]
"""Name and value of each field, as wide as it is laid out."""


def events() -> list[dict[str, object]]:
    """The tides of North Mole."""
    document = json.loads((FILES / "tides" / "north-mole.json").read_text("utf-8"), parse_float=Decimal)
    found: list[dict[str, object]] = document["events"]
    return found


def _height(event: dict[str, object]) -> str:
    if "height" not in event:
        return "?".rjust(6)
    if event["height"] is None:
        return "none".rjust(6)
    number = Decimal(str(event["height"])).quantize(Decimal("0.01"), ROUND_HALF_UP)
    return f"{number + 0:6}"


def tides() -> list[Record]:
    """ASK TIDES MOLE: the town's clock is UTC+1."""
    found = []
    for event in events():
        when = datetime.fromisoformat(str(event["when"])).astimezone(timezone(timedelta(hours=1)))
        spring = {True: "1", False: "0"}.get(bool(event["spring"])) if "spring" in event else " "
        found.append(
            [
                ("TIME", when.strftime("%H:%M")),
                ("TIDE", str(event["kind"]).upper().ljust(4)),
                ("METRES", _height(event)),
                ("SPRING", str(spring)),
            ]
        )
    return found


def one() -> list[Record]:
    """ASK ONE."""
    return [[("WHEN", str(event["when"])[:25].ljust(25))] for event in events()]


def wide() -> list[Record]:
    """ASK WIDE."""
    return [
        [
            ("WHEN", str(event["when"])[:25].ljust(25)),
            ("KIND", str(event["kind"]).ljust(100)),
            ("AGAIN", str(event["when"]).ljust(124)),
        ]
        for event in events()
    ]


def many() -> list[Record]:
    """ASK MANY: the file's columns by heading and number; its text is plain ASCII where it is looked at."""
    with (FILES / "ferries" / "timetable.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    headings = rows[0]

    def value(row: list[str], at: str) -> str:
        return row[int(at) - 1 if at.isdigit() else headings.index(at)]

    return [
        [
            (f"{name}{turn}", value(row, at).strip()[:width].ljust(width))
            for turn in range(1, 5)
            for name, at, width in _MANY
        ]
        for row in rows[1:]
    ]
