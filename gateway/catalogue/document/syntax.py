"""one TOML fault -> what was found, what is allowed, and exactly where the caret belongs."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.catalogue.document.hiding import Hiding
from gateway.catalogue.document.mistakes import nearest as nearest_word
from gateway.catalogue.document.mistakes import printable
from gateway.catalogue.document.positions import Cause, Lost, Path, Positions, Spot, Statement

_TWICE: Final = (  # how tomllib's messages about something set twice begin
    "Cannot overwrite",
    "Cannot declare",
    "Duplicate inline",
    "Cannot mutate",
    "Cannot redefine",
)
_KEY: Final = r"(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')"
_KEYS: Final = rf"[ \t]*{_KEY}(?:[ \t]*\.[ \t]*{_KEY})*[ \t]*"
_HEADER_LINE: Final = re.compile(rf"[ \t]*\[{{1,2}}(?![ \t]*\d){_KEYS}\]{{0,2}}[ \t]*(?:#.*)?")
_STATEMENT_LINE: Final = re.compile(rf"{_KEYS}=")
_WORD: Final = re.compile(r"[^\s,=\[\]{}#\"']+|[^\s#]")
_SWITCHES: Final = {"yes": "true", "on": "true", "no": "false", "off": "false"}
_VALUES: Final = 'a "text" in quotes, a number, true, false, a [list] or a { table }'
_LOST: Final[Mapping[Cause, tuple[str, str]]] = {
    Cause.KEY: (
        "no key",
        "key = value, the key in quotes if it has other marks than - and _",
    ),
    Cause.EQUALS: ("no = after the key", "key = value"),
    Cause.VALUE: ("no value", _VALUES),
    Cause.STRING: ("a text whose closing quote is missing", "the same quote at both ends, on one line"),
    Cause.LONG_STRING: ("a text of several lines that is not closed", "three quotes at both ends"),
    Cause.LIST: ("a list that is not closed", "[one, two]"),
    Cause.TABLE: ("an inline table that is not closed", "{ key = value, other = value } on one line"),
    Cause.HEADER: (
        "a header without all of its brackets",
        "[table] or [[list of tables]] on a line of its own",
    ),
    Cause.REST: ("something after the end of the statement", "one key = value a line, texts in quotes"),
    Cause.DEPTH: ("lists or tables nested too deep", f"at most {limits.CATALOGUE_DEPTH} inside one another"),
    Cause.DIGITS: ("a word or number that is too long", f"at most {limits.DIGITS} characters"),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """tomllib's finding: the words of its message and the offset that it gives."""

    message: str
    offset: int


@dataclass(frozen=True, slots=True)
class Words:
    """What to say about the text from `start` to `end`."""

    start: int
    end: int
    found: str
    allowed: str
    nearest: str = ""


def dotted(path: Path) -> str:
    """A path as people write it: dots between keys, members of a list counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            shown = part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else f'"{printable(part, 20)}"'
            text += f".{shown}" if text else shown
    return text


def is_header_line(line: str) -> bool:
    """Whether a line stands for a header, perhaps an unclosed one, and not for a member of a list."""
    return _HEADER_LINE.fullmatch(line) is not None


def is_statement_line(line: str) -> bool:
    """Whether a line begins with `key =`."""
    return _STATEMENT_LINE.match(line) is not None


def is_twice(lost: Lost | None, fault: Fault) -> bool:
    """Whether the statement sets something again; one that is not closed either is only that."""
    return fault.message.startswith(_TWICE) and lost is None


def describe(
    text: str,
    positions: Positions,
    statement: Statement,
    lost: Lost | None,
    fault: Fault,
    *,
    hiding: Hiding,
) -> Words:
    """The words for the fault in `statement`; `lost` where the scanner stumbled in it, too.

    They repeat nothing that `hiding` hides.
    """
    if is_twice(lost, fault):
        return _twice(positions, statement)
    if lost is not None:
        return _lost(text, lost, hiding)
    for spot in positions.values.values():
        bare = text[spot.start] not in "\"'[{" and not text.startswith("[", statement.start)
        if bare and statement.start <= spot.start <= fault.offset <= spot.end:
            return _bare(text, spot, fault, hiding)
    return _inside(text, statement, fault)


def _twice(positions: Positions, statement: Statement) -> Words:
    path, spot = statement.path, statement.key
    for repeated_path, repeated in positions.repeated:
        if statement.start <= repeated.start < statement.end:
            path, spot = repeated_path, repeated
    assert spot is not None  # see is_twice
    while path and isinstance(path[-1], int):
        path = path[:-1]
    first = positions.keys.get(path)
    line = f"line {first.line}" if first is not None and first.start < spot.start else "the table"
    what = "a header for what" if statement.header else "a key that"
    return Words(spot.start, spot.end, f"{what} {line} sets already", "each table and each key once")


def _lost(text: str, lost: Lost, hiding: Hiding) -> Words:
    found, allowed = _LOST[lost.cause]
    line_end = text.find("\n", lost.offset)
    line_end = len(text) if line_end < 0 else line_end
    if lost.cause in {Cause.LIST, Cause.TABLE}:
        line_start = text.rfind("\n", 0, lost.offset) + 1
        line = text[line_start:line_end]
        later = lost.opened < line_start and (is_statement_line(line) or is_header_line(line))
        if later or lost.offset >= len(text):
            return Words(lost.opened, lost.opened + 1, found, allowed)
        found = "no comma before this"
    if lost.cause in {Cause.STRING, Cause.LONG_STRING, Cause.HEADER}:
        return Words(lost.opened, len(text[:line_end].rstrip()), found, allowed)
    match = _WORD.match(text, lost.offset)
    if match is None:
        return Words(lost.offset, lost.offset + 1, found, allowed)
    word, nearest = match.group(), ""
    if lost.cause is Cause.EQUALS and word.startswith(":"):
        nearest = "="
    if lost.cause is Cause.KEY and word.isalnum() and not hiding.hides(*match.span()):
        nearest = f'"{word}"'
    return Words(match.start(), match.end(), found, allowed, nearest)


def _bare(text: str, spot: Spot, fault: Fault, hiding: Hiding) -> Words:
    start, end, word = spot.start, spot.end, text[spot.start : spot.end]
    if fault.message.startswith("Invalid date"):
        found, allowed = "a date or time that does not exist", "a date of the calendar, or a text in quotes"
        return Words(start, end, found, allowed)
    if hiding.hides(start, end):
        allowed = '"env:NAME", "file:PATH" or "credential:NAME" for a secret, any other text in quotes'
        return Words(start, end, "something that is not in quotes", allowed)
    shown = printable(word, 40)
    nearest = _SWITCHES.get(word.lower()) or nearest_word(word, ("true", "false")) or f'"{shown}"'
    return Words(start, end, f"{shown}, which is not in quotes", _VALUES, nearest)


def _inside(text: str, statement: Statement, fault: Fault) -> Words:
    mark = text[fault.offset : fault.offset + 1]
    backslash = text.rfind("\\", statement.start, fault.offset + 1)
    if fault.message.startswith("Illegal character"):
        found = f"a control character, {ord(mark):02X} hex" if mark else "no end"
        return Words(fault.offset, fault.offset + 1, found, "printable characters, or an escape such as \\t")
    if backslash >= 0 and (
        "Unescaped" in fault.message or "hex" in fault.message or "scalar" in fault.message
    ):
        return Words(
            backslash,
            max(backslash + 2, min(fault.offset, backslash + 10)),
            "a backslash that begins no escape",
            "\\\\ for a backslash, or a text in 'single quotes'",
        )
    if mark in {"}", "\n"} or "inline" in fault.message or "key part" in fault.message:
        found = "a line end in an inline table" if mark == "\n" else "a comma at the end of an inline table"
        return Words(fault.offset, fault.offset + 1, found, _LOST[Cause.TABLE][1])
    return Words(  # pragma: no cover — what a later tomllib may find
        fault.offset, fault.offset + 1, "something that TOML does not have here", "TOML 1.0"
    )
