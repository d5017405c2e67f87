"""Lines that were expected, lines that came -> which belong together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gateway.rehearsal.script.patterns import Literal, Pattern
from gateway.rehearsal.script.steps import Hear, Placed, Step

_MOST: Final = 1_000_000  # pairs that are tried for the best order; beyond that, line by line
_MOST_OPEN: Final = 100_000  # the same, where patterns hold more than bytes


@dataclass(frozen=True, slots=True)
class Pair:
    """An expectation and what came for it. `came` is the statement that expects just what came.

    `expected` is None for what came beside what was expected, after the script's line `line`; `came` is None
    where nothing did. `fits`: it is as expected. `why` says more where it is not.
    """

    line: int
    expected: Placed | None
    came: Step | None
    fits: bool
    why: str = ""


def exactly(data: bytes) -> Pattern:
    """The pattern that stands for these bytes and no others."""
    return Pattern((Literal(data),) if data else ())


def paired(expected: Sequence[Placed], lines: Sequence[bytes], missing: str) -> list[Pair]:
    """Lines in the order that leaves the most of them as expected; `missing` says why one did not come."""
    patterns = [placed.step.pattern for placed in expected if isinstance(placed.step, Hear)]
    pairs: list[Pair] = []
    place = expected[0].line - 1
    for index, number in _order(patterns, lines):
        placed = None if index is None else expected[index]
        line = None if number is None else lines[number]
        place = place if placed is None else placed.line
        came = None if line is None else Hear(exactly(line))
        fits = index is not None and line is not None and patterns[index].matches(line)
        why = missing if line is None else "came as well" if placed is None else ""
        pairs.append(Pair(place, placed, came, fits, why))
    return pairs


def _order(patterns: Sequence[Pattern], lines: Sequence[bytes]) -> list[tuple[int | None, int | None]]:
    """Pairs of places in both; the ones that match at both ends need no search."""
    front = 0
    while front < min(len(patterns), len(lines)) and patterns[front].matches(lines[front]):
        front += 1
    back = 0
    most = min(len(patterns), len(lines)) - front
    while back < most and patterns[-1 - back].matches(lines[-1 - back]):
        back += 1
    middle = _searched(patterns[front : len(patterns) - back], lines[front : len(lines) - back])
    shift = len(lines) - len(patterns)
    return [
        *((at, at) for at in range(front)),
        *((_moved(one, front), _moved(two, front)) for one, two in middle),
        *((at, at + shift) for at in range(len(patterns) - back, len(patterns))),
    ]


def _moved(place: int | None, by: int) -> int | None:
    return None if place is None else place + by


def _searched(patterns: Sequence[Pattern], lines: Sequence[bytes]) -> list[tuple[int | None, int | None]]:
    """The longest common order; what is left between two that match is paired in turn."""
    rows, columns = len(patterns), len(lines)
    if rows * columns > (_MOST if all(pattern.literal for pattern in patterns) else _MOST_OPEN):
        return _in_turn(range(rows), range(columns))
    best = [[0] * (columns + 1) for _ in range(rows + 1)]
    fits = [[pattern.matches(line) for line in lines] for pattern in patterns]
    for row in reversed(range(rows)):
        for column in reversed(range(columns)):
            best[row][column] = (
                best[row + 1][column + 1] + 1
                if fits[row][column]
                else max(best[row + 1][column], best[row][column + 1])
            )
    order: list[tuple[int | None, int | None]] = []
    row = column = from_row = from_column = 0
    while row < rows and column < columns:
        if fits[row][column]:
            order += [*_in_turn(range(from_row, row), range(from_column, column)), (row, column)]
            row, column = row + 1, column + 1
            from_row, from_column = row, column
        elif best[row + 1][column] >= best[row][column + 1]:
            row += 1
        else:
            column += 1
    return [*order, *_in_turn(range(from_row, rows), range(from_column, columns))]


def _in_turn(rows: range, columns: range) -> list[tuple[int | None, int | None]]:
    longest = max(len(rows), len(columns))
    return [
        (rows[at] if at < len(rows) else None, columns[at] if at < len(columns) else None)
        for at in range(longest)
    ]
