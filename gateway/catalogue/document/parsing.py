"""TOML text -> document, places, and every TOML fault that can be told apart from its consequences.

`tomllib` stops at its first fault. That fault is reported, its statement is blanked (blanks for characters,
so that all places stay right), and the rest is read again, at most `limits.SYNTAX_MISTAKES` times. A header
that cannot be read takes its whole table along, since the keys below it would fall into another one. What a
blanked statement may have said is remembered as `damaged`: nothing is called missing there.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.catalogue.document.hiding import Hiding
from gateway.catalogue.document.mistakes import Mistake
from gateway.catalogue.document.positions import (
    Cause,
    LineIndex,
    Lost,
    Path,
    Positions,
    Statement,
    find_positions,
)
from gateway.catalogue.document.syntax import (
    Fault,
    describe,
    dotted,
    is_header_line,
    is_statement_line,
    is_twice,
)
from gateway.catalogue.model import Number

_WHERE: Final = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)
_FATAL: Final = frozenset({Cause.DEPTH, Cause.DIGITS, Cause.LONG_STRING})


@dataclass(frozen=True, slots=True)
class Parsed:
    """What could be read. `whole`: what was read can be checked; otherwise `document` is empty.

    `damaged`: tables that lost a statement; () is the whole file. `hiding`: what no message may show.
    """

    document: Mapping[str, object]
    positions: Positions
    mistakes: tuple[Mistake, ...]
    damaged: tuple[Path, ...]
    whole: bool
    hiding: Hiding


@dataclass(frozen=True, slots=True)
class _Loss:
    """What is blanked to go on, and which tables that damages; `fatal`: it is not safe to go on."""

    start: int
    end: int
    damaged: tuple[Path, ...] = ()
    fatal: bool = False


def parse(text: str) -> Parsed:
    """Read `text`, whose line ends are LF. Decimals become `Number`, digit for digit."""
    mistakes: list[Mistake] = []
    damaged: list[Path] = []
    positions = find_positions(text)
    hiding = Hiding(text)
    hiding.see(positions)
    for _ in range(limits.SYNTAX_MISTAKES):
        try:
            if positions.lost is None or positions.lost.cause not in _FATAL:
                document = tomllib.loads(text, parse_float=_number)
                return Parsed(document, positions, tuple(mistakes), tuple(damaged), True, hiding)
            fault = Fault("", positions.lost.offset)
        except tomllib.TOMLDecodeError as error:
            fault = _fault(text, str(error))
        mistake, loss = _judge(text, positions, fault, hiding)
        mistakes.append(mistake)
        damaged.extend(loss.damaged)
        if loss.fatal:
            break
        text = text[: loss.start] + re.sub(r"[^\n]", " ", text[loss.start : loss.end]) + text[loss.end :]
        positions = find_positions(text)
        hiding.see(positions)
    return Parsed({}, positions, tuple(mistakes), ((),), False, hiding)


def _number(text: str) -> Number:
    return Number(text.replace("_", "").removeprefix("+"))


def _fault(text: str, message: str) -> Fault:
    match = _WHERE.fullmatch(message)
    if match is None or match[2] is None:
        return Fault(match[1] if match else message, len(text))
    return Fault(match[1], LineIndex(text).offset(int(match[2]), int(match[3])))


def _judge(text: str, positions: Positions, fault: Fault, hiding: Hiding) -> tuple[Mistake, _Loss]:
    statement = next((each for each in reversed(positions.statements) if each.start <= fault.offset), None)
    line_end = _line_end(text, fault.offset)
    comment = text.find("#", statement.end if statement else 0, line_end)
    lost = positions.lost if statement is not None and statement is positions.statements[-1] else None
    if statement is None or (lost is None and 0 <= comment < fault.offset):
        spot = LineIndex(text).spot(fault.offset, fault.offset + 1)
        mistake = Mistake(
            spot.line, spot.column, 1, "the file", "a control character in a comment", "text, blanks and tabs"
        )
        return mistake, _Loss(fault.offset, fault.offset + 1, fatal=spot.start >= len(text))
    words = describe(text, positions, statement, lost, fault, hiding=hiding)
    spot = LineIndex(text).spot(words.start, words.end)
    length = max(1, spot.end_column - spot.column)
    path = statement.path
    if lost is not None and lost.cause is Cause.EQUALS and not lost.within:
        path = path[: len(statement.table) + 1]  # what follows a dot may be the value
    mistake = Mistake(
        spot.line,
        spot.column,
        length,
        dotted(path) or "the file",
        words.found,
        words.allowed,
        words.nearest,
    )
    return mistake, _loss(text, positions, statement, fault)


def _loss(text: str, positions: Positions, statement: Statement, fault: Fault) -> _Loss:
    lost = positions.lost if statement is positions.statements[-1] else None
    twice = is_twice(lost, fault)
    if lost is not None and (lost.cause in _FATAL or _runs_on(text, lost)):
        return _Loss(0, 0, fatal=True)
    if statement.header and lost is not None and lost.cause is Cause.REST:
        return _Loss(lost.offset, _line_end(text, lost.offset), (statement.table,))
    if statement.header:
        end = _line_end(text, statement.start)
        while end < len(text) and not is_header_line(_line_at(text, end + 1)):
            end = _line_end(text, end + 1)
        return _Loss(statement.start, end, (statement.path[:2] if statement.key is not None else (),))
    damaged = () if twice else (statement.table,)
    if lost is None:
        return _Loss(
            statement.start, max(_line_end(text, statement.end), _line_end(text, statement.start)), damaged
        )
    if not lost.within:
        return _Loss(statement.start, _line_end(text, lost.offset), damaged)
    end = _line_end(text, statement.start)
    while end < len(text):
        line = _line_at(text, end + 1)
        if is_statement_line(line) or is_header_line(line):
            break
        end = _line_end(text, end + 1)
    return _Loss(statement.start, end, damaged)


def _runs_on(text: str, lost: Lost) -> bool:
    """Whether a text of several lines begins there, which has lost a quote or the mark in front of it."""
    if lost.cause is Cause.EQUALS:
        return text.startswith(('"""', "'''"), lost.offset)
    return lost.cause is Cause.REST and text[max(0, lost.offset - 2) : lost.offset] in {'""', "''"}


def _line_end(text: str, offset: int) -> int:
    end = text.find("\n", offset)
    return len(text) if end < 0 else end


def _line_at(text: str, start: int) -> str:
    return text[start : _line_end(text, start)]
