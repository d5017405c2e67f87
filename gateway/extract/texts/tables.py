"""A table -> lines that can be read on a narrow screen.

Columns stand side by side, with two blanks between or one, where they fit as they are or with their longest
cells wrapped into at most six lines. Otherwise each row is a small paragraph of `heading: value` lines, or of
values where the table names no columns. A column of figures is aligned right.
"""

import re
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import Final

from adapters import limits
from gateway.extract.fields.text import Lettering
from gateway.extract.texts.blocks import Row, Table, spelt
from gateway.extract.texts.wrapping import wrapped

_FIGURE: Final = re.compile(r"[-+]?[A-Z$]{0,3} ?[\d][\d.,:]*%?")
_TALLEST: Final = 6  # lines of one row that can still be read across
_HANGING: Final = 2

_Cell = list[str]


def table_lines(table: Table, lettering: Lettering, width: int) -> Iterator[str]:
    """The lines of `table`, none longer than `width`."""
    rows = [[spelt(cell, lettering) for cell in row.cells] for row in table.rows]
    heads = [row.head for row, cells in zip(table.rows, rows, strict=True) if any(map(any, cells))]
    rows = [_narrowed(cells) for cells in rows if any(map(any, cells))]
    if not rows:
        return
    if len(rows) * max(map(len, rows)) > limits.TEXT_TABLE_CELLS:
        yield from _stacked(rows, (), width)
        return
    rows = _columns_used(rows)
    headed = heads[0] and len(rows) > 1
    if len(rows[0]) == 1:
        for (cell,) in rows:
            for line in cell:
                yield from wrapped(line, width)
        return
    widths = _widths(rows, width)
    if widths is None:
        yield from _stacked(rows[headed:], [" ".join(cell) for cell in rows[0]] if headed else (), width)
    else:
        yield from _side_by_side(rows, headed, widths, width)


def _narrowed(cells: list[_Cell]) -> list[_Cell]:
    """The cells of one row; those beyond the last column allowed become part of its cell."""
    most = limits.TEXT_TABLE_COLUMNS
    if len(cells) <= most:
        return cells
    return [*cells[: most - 1], [" ".join(line for cell in cells[most - 1 :] for line in cell if line)]]


def _columns_used(rows: list[list[_Cell]]) -> list[list[_Cell]]:
    """The rows with equally many cells, without the columns in which nothing stands."""
    count = max(map(len, rows))
    full = [row + [[""]] * (count - len(row)) for row in rows]
    used = [place for place in range(count) if any(any(row[place]) for row in full)]
    return [[row[place] for place in used] for row in full]


def _widths(rows: Sequence[Sequence[_Cell]], width: int) -> list[int] | None:
    """How wide each column is to be; None where they cannot stand side by side."""
    columns = list(zip(*rows, strict=True))
    whole = [max(len(line) for cell in column for line in cell) for column in columns]
    room = width - (len(whole) - 1)
    if sum(whole) <= room:
        return whole
    least = [
        max(len(word) for cell in column for line in cell for word in line.split() or [""])
        for column in columns
    ]
    if sum(least) > room:
        return None
    widths = list(least)
    for _ in range(room - sum(least)):
        # The column that is furthest from what it would need gets the next character.
        neediest = max(range(len(whole)), key=lambda place: whole[place] / max(widths[place], 1))
        widths[neediest] += 1
    for row in rows:
        if any(_too_tall(cell, each) for cell, each in zip(row, widths, strict=True)):
            return None
    return widths


def _too_tall(cell: _Cell, width: int) -> bool:
    if sum(map(len, cell)) > _TALLEST * width:
        return True
    return sum(1 for line in cell for _ in wrapped(line, width)) > _TALLEST


def _side_by_side(
    rows: Sequence[Sequence[_Cell]], headed: bool, widths: Sequence[int], width: int
) -> Iterator[str]:
    gap = "  " if sum(widths) + 2 * (len(widths) - 1) <= width else " "
    body = rows[1:] if headed else rows
    figures = [
        all(len(cell) == 1 and (not cell[0] or _FIGURE.fullmatch(cell[0])) for cell in column)
        for column in zip(*body, strict=True)
    ]
    for number, row in enumerate(rows):
        cells = [
            [piece for line in cell for piece in wrapped(line, each)]
            for cell, each in zip(row, widths, strict=True)
        ]
        for line in range(max(map(len, cells))):
            parts = [cell[line] if line < len(cell) else "" for cell in cells]
            yield gap.join(
                part.rjust(each) if figure else part.ljust(each)
                for part, each, figure in zip(parts, widths, figures, strict=True)
            ).rstrip(" ")
        if headed and not number:
            yield gap.join("-" * each for each in widths)


def _stacked(rows: Sequence[Sequence[_Cell]], names: Sequence[str], width: int) -> Iterator[str]:
    for number, row in enumerate(rows):
        if number:
            yield ""
        for name, cell in zip_longest(names, row, fillvalue=""):
            lines = [line for line in cell if line]
            if lines and name:
                lines[0] = f"{name}: {lines[0]}"
            for place, line in enumerate(lines):
                for turn, piece in enumerate(wrapped(line, width - _HANGING)):
                    yield " " * (_HANGING if place or turn else 0) + piece


def make_rows(rows: Sequence[Sequence["Span"]]) -> tuple[Row, ...]:
    """Rows whose cells stand in their columns, whatever spans several of them (HTML section 4.9.12)."""
    made: list[Row] = []
    taken: dict[int, int] = {}  # for how many rows from here on a column has a cell from above
    for spans in rows:
        cells: list[str] = []
        below: dict[int, int] = {}
        for span in spans:
            while taken.get(len(cells), 0):
                cells.append("")
            columns = max(1, min(span.columns, limits.TEXT_TABLE_COLUMNS - len(cells)))
            if span.rows > 1 and len(cells) < limits.TEXT_TABLE_COLUMNS:
                below |= dict.fromkeys(range(len(cells), len(cells) + columns), span.rows)
            cells += [span.text, *[""] * (columns - 1)]
        made.append(Row(tuple(cells), bool(spans) and all(span.head for span in spans)))
        taken = {column: left - 1 for column, left in {**taken, **below}.items() if left > 1}
    return tuple(made)


class Span:
    """One cell as it stands in the page: its text, and over how many columns and rows it goes."""

    __slots__ = ("columns", "head", "rows", "text")

    def __init__(self, text: str, head: bool, columns: str | None, rows: str | None) -> None:
        self.text = text
        self.head = head
        self.columns = _count(columns, limits.TEXT_TABLE_COLUMNS)
        self.rows = _count(rows, 1_000)  # HTML section 4.9.11 allows 65,534


def _count(text: str | None, most: int) -> int:
    text = (text or "").strip()
    if not (text.isascii() and text.isdigit() and len(text) <= 5):
        return 1
    return max(1, min(int(text), most))
