"""PICK's words -> Plan: an ad-hoc source, one record a row (CONTRACT section 3)."""

import re
from collections.abc import Sequence
from typing import Final

from adapters import limits
from adapters.errors import PathFault, TooLarge, WrongWords
from gateway.extract.paths import compile_open_path
from gateway.extract.plan import Field, Kind, Path, Plan

_SUFFIX: Final = re.compile(r"(?P<path>.*):(?P<width>[0-9]{1,3})(?P<kind>[tifd]?)", re.IGNORECASE | re.DOTALL)
_WRONG_SUFFIX: Final = re.compile(r"[^\"'\[]*:[0-9]++(?![tifdTIFD]?$)[a-zA-Z.0-9]+")
_KINDS: Final = {"t": Kind.TEXT, "i": Kind.INT, "f": Kind.FIXED, "d": Kind.DATE}
_DEFAULT_WIDTH: Final = 10


def pick_plan(rows: str, words: Sequence[str]) -> Plan:
    """The plan of `PICK ref rows words...`.

    WrongWords (and PathFault, which is one): a path that cannot be used, or paths of two languages.
    TooLarge: a record wider than any client takes.
    """
    fields = tuple(_field(number, word) for number, word in enumerate(words or (":10t",), 1))
    rows_path = None if rows == "-" else _path("Rows", rows)
    paths: list[Path] = [path for each in fields for path in each.at]
    if rows_path is not None:
        paths.append(rows_path)
    if len({path.text.startswith("$") for path in paths}) > 1:
        raise WrongWords("All paths begin with $, or none")
    plan = Plan(fields=fields, rows=rows_path, blind=True)
    if plan.width > limits.RECORD_WIDTH:
        raise TooLarge(f"Records of {plan.width} are too wide")
    return plan


def _field(number: int, word: str) -> Field:
    if word.startswith("$") and _WRONG_SUFFIX.fullmatch(word):
        raise WrongWords(f"Field {number}: after the width t i f or d")
    found = _SUFFIX.fullmatch(word)
    path, width, kind = word, _DEFAULT_WIDTH, Kind.TEXT
    if found:
        path, width = found["path"], int(found["width"])
        kind = _KINDS[found["kind"].lower() or "t"]
    if not 1 <= width <= limits.RECORD_WIDTH:
        raise WrongWords(f"Field {number}: a width is 1 to 255")
    at = (_path(f"Field {number}", path),) if path else ()
    return Field(name=f"FIELD-{number}", width=width, kind=kind, at=at)


def _path(where: str, text: str) -> Path:
    try:
        return compile_open_path(text)
    except PathFault as fault:
        raise PathFault(f"{where}: {fault.sentence}", fault.position) from fault
