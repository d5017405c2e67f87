"""JSON, JSON lines and JSONPath: two lines of paths, then a document; any bytes.

Invariant: WrongDocument, TooLarge and PathFault are all that is raised, a PathFault's place is in its path; a
value written and read again is the same; both evaluators of a path select the same; and each record of the
sheet is as wide as the plan says, printable, and as long again on the line.
"""

from collections.abc import Iterator
from typing import Final

from adapters.errors import PathFault, TooLarge, WrongDocument
from gateway.extract.json_text import parse_json, parse_json_or_lines, parse_ndjson, to_text
from gateway.extract.jsonpath import JsonPath, compile_jsonpath
from gateway.extract.jsonpath.evaluate import evaluator
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.plan import Field, Format, Kind, Plan
from gateway.extract.values import MISSING, JsonValue
from tests.fuzz.inputs import behind, case_files, first_line, json_vectors, literals, parted, path_vectors
from tests.fuzz.laid_out import check_laid_out

_FORMATS: Final = (Format.JSON, Format.NDJSON, Format.AUTO)
_LABELS: Final = (None, "latin-1", "utf-16", "shift_jis", "no such charset")
_MEDIA: Final = ("application/json", "application/x-ndjson", "")
_PLAIN: Final = b'{"name": "Quay", "level": 1.50, "rows": [{"id": 7, "name": null}, {"id": "x"}, [1, [2]]]}'


def _path(text: str) -> JsonPath | None:
    try:
        return compile_jsonpath(text)
    except PathFault as fault:
        assert 0 <= fault.position <= len(text)
        assert fault.sentence.isascii()
        return None


def _value(body: bytes, form: Format, media_type: str, label: str | None) -> JsonValue:
    match form:
        case Format.JSON:
            return parse_json(body, label)
        case Format.NDJSON:
            return list(parse_ndjson(body, label))
        case _:
            return parse_json_or_lines(body, media_type, label)[0]


def _check_selection(path: JsonPath, value: JsonValue) -> None:
    try:
        nodes = path.select(value)
        blind = path.select(value, blind=True)
        again = evaluator(path.query)(Selection(value), value)
    except TooLarge:
        return
    assert [to_text(each) for each in nodes] == [to_text(each) for each in again]
    assert len(blind) >= len(nodes) or not path.singular
    assert not path.singular or len(nodes) <= 1
    first = path.first(value)
    assert first is MISSING if not nodes else first is not MISSING and to_text(first) == to_text(nodes[0])


def check(data: bytes) -> None:
    """See the module's text."""
    options, rest = parted(data, 4)
    form, label = _FORMATS[options[0] % 3], _LABELS[options[0] // 3 % 5]
    media_type = _MEDIA[options[0] // 15 % 3]
    rows, rest = first_line(rest)
    at, body = first_line(rest)
    paths = _path(rows), _path(at)
    try:
        value = _value(body, form, media_type, label)
    except (WrongDocument, TooLarge) as error:
        assert error.sentence.isascii()
    else:
        assert to_text(parse_json(to_text(value).encode("utf-8"))) == to_text(value)
        for path in paths:
            if path is not None:
                _check_selection(path, value)
    if at and paths[1] is None:
        return
    field = Field(
        "VALUE",
        1 + options[1] % 60,
        tuple(Kind)[options[2] % len(Kind)],
        () if paths[1] is None else (paths[1],),
        decimals=options[2] // 8 % 4,
    )
    plan = Plan(
        (field, Field("WHOLE", 3, Kind.TEXT)),
        form,
        paths[0],
        distinct=options[3] & 1 == 1,
        sort="VALUE" if options[3] & 2 else None,
        descending=options[3] & 4 == 4,
        blind=options[3] & 8 == 8,
    )
    check_laid_out(body, media_type, label, plan, options[3] >> 4)


def seeds() -> Iterator[bytes]:
    """The paths and documents of the tests, the cases, and what is published."""
    options = [bytes((number % 45, number * 11 % 60, number % 32, number % 256)) for number in range(256)]
    folder = "gateway/extract"
    paths = [each for each in literals(f"{folder}/jsonpath") if each.startswith(b"$") and b"\n" not in each]
    yield from behind(options, (b"$.rows\n%s\n%s" % (each, _PLAIN) for each in paths))
    documents = [*literals(f"{folder}/test_json_text.py", f"{folder}/fields"), *json_vectors()]
    yield from behind(options, (b"$\n\n" + each for each in [*documents, *case_files("json-*/*.json")]))
    for each in path_vectors():
        query, _, document = each.partition(b"\n")
        yield b"\0\x14\0\0" + b"%s\n$.a\n%s" % (query, document)
