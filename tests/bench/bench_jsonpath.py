"""Time for JSON parsing and for each route of a JSONPath, against the libraries; run by hand.

    python -m tests.bench.bench_jsonpath

Prints the best of several rounds; the data is invented.
"""

import json
import timeit
from collections.abc import Callable

import jsonpath
from jsonpath_ng.parser import parse

from gateway.extract.json_text import parse_json, parse_ndjson, to_text
from gateway.extract.jsonpath import compile_jsonpath
from gateway.extract.jsonpath.evaluate import evaluator
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.values import JsonValue

_ROUNDS = 7
_DEEP = '{"a":{"b":{"c":[0,1,2,{"d":{"e":"here"}}]}}}'


def _rows(count: int) -> list[dict[str, object]]:
    return [
        {
            "id": number,
            "name": f"berth {number}",
            "level": round(number * 0.37 % 10, 2),
            "tags": ["a", "b", "c"],
            "pos": {"lat": 50.1 + number / 10_000, "lon": 4.25},
            "free": number % 3 == 0,
            "note": None,
            "text": 'a "quoted" word\nand a line',
        }
        for number in range(count)
    ]


def best(job: Callable[[], object], number: int = 1) -> float:
    """Seconds for one run, the best of some rounds."""
    return min(timeit.repeat(job, number=number, repeat=_ROUNDS)) / number


def _show(label: str, seconds: float) -> None:
    unit, factor = ("us", 1e6) if seconds < 1e-3 else ("ms", 1e3)
    print(f"  {label:<48}{seconds * factor:10.2f} {unit}")


def _parsing() -> None:
    body = json.dumps(_rows(5_600)).encode()
    print(f"Parsing {len(body) / 1e6:.2f} MB")
    _show("parse_json", best(lambda: parse_json(body)))
    _show("json.loads, numbers as float", best(lambda: json.loads(body)))
    lines = b"\n".join(json.dumps(row).encode() for row in _rows(5_600))
    _show("parse_ndjson, the same rows as lines", best(lambda: parse_ndjson(lines)))
    value = parse_json(body)
    _show("to_text of the whole", best(lambda: to_text(value)))


def _plain_paths() -> None:
    ours = parse_json(_DEEP.encode())
    theirs = json.loads(_DEEP)
    print("Plain paths")
    for text in ("$.a", "$.a.b.c", "$.a.b.c[3].d.e", "$.a.b.x"):
        path = compile_jsonpath(text)
        own, library = evaluator(path.query), parse(text)
        strict = jsonpath.compile(text, strict=True)
        steps = text.count(".") + text.count("[")
        walked = best(lambda: path.first(ours), 20_000)  # noqa: B023
        _show(f"{text} first ({walked / steps * 1e6:.3f} us a step)", walked)
        _show(f"{text} select", best(lambda: path.select(ours), 20_000))  # noqa: B023
        _show(f"{text} select blind", best(lambda: path.select(ours, blind=True), 2_000))  # noqa: B023
        _show(f"{text} own evaluator", best(lambda: own(Selection(ours), ours), 2_000))  # noqa: B023
        _show(f"{text} jsonpath-ng", best(lambda: library.find(theirs), 2_000))  # noqa: B023
        _show(f"{text} python-jsonpath", best(lambda: strict.findall(theirs), 2_000))  # noqa: B023


def _ten_thousand_rows() -> None:
    plain = {"rows": _rows(10_000)}
    ours: JsonValue = parse_json(json.dumps(plain).encode())
    print("10,000 rows")
    for text in (
        "$.rows[*].name",
        "$.rows[0:10].name",
        "$.rows[:5000].name",
        "$..name",
        "$.rows[*]['id','name']",
        "$.rows[?@.level < 5].name",
        "$.rows[?@.free && @.pos.lat > 50.5].name",
        "$.rows[?match(@.name, 'berth [0-9]*7')].name",
        "$..*",
    ):
        path = compile_jsonpath(text)
        _show(f"{text} ({path.route.value})", best(lambda: path.select(ours)))  # noqa: B023
        own = evaluator(path.query)
        _show("  own evaluator", best(lambda: own(Selection(ours), ours)))  # noqa: B023
        strict = jsonpath.compile(text, strict=True)
        _show("  python-jsonpath", best(lambda: strict.findall(plain)))  # noqa: B023
        if "match" not in text and "?" not in text:
            library = parse(text)
            _show("  jsonpath-ng", best(lambda: library.find(plain)))  # noqa: B023
    _show(
        "compile $.rows[?@.level < 5].name", best(lambda: compile_jsonpath("$.rows[?@.level < 5].name"), 100)
    )


if __name__ == "__main__":
    _parsing()
    _plain_paths()
    _ten_thousand_rows()
