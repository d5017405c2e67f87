"""bytes -> Table, and a heading or column number -> ColumnPath: CSV (RFC 4180, and what goes by that name).

The first line is the headings. Beyond the RFC: lines end in CR LF, LF or CR; the separator is the one of
`, ; | TAB` that the first line holds most of, outside quotes, and a comma where none is ahead of it; empty
lines are passed over; a quote inside an unquoted field stands for itself; rows may be short or long.
"""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from typing import Final

from adapters import limits
from adapters.errors import PathFault, TooLarge, WrongDocument
from gateway.extract.markup.decode import decode

_SEPARATORS: Final = ",;\t|"  # the first of equally frequent ones counts
_QUOTED: Final = re.compile(r'(?<![^,;\t|\r\n])"(?:[^"]|"")*"')
_NUMBER: Final = re.compile(r"[1-9][0-9]{0,5}")

# After the whole text: inside a quote it becomes part of a field, so that it then is no row by itself.
_END: Final = ("\n", "\0")


@dataclass(frozen=True, slots=True)
class Table:
    """The cells of a CSV document, as text. Rows need not be as long as `headings`."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class ColumnPath:
    """A column, by its heading or by its number from 1."""

    text: str

    def select(self, row: tuple[str, ...], table: Table, blind: bool = False) -> list[str]:
        """The row's cell in that column, or nothing where the row or the table does not reach so far."""
        place = self.place(table, blind)
        return [row[place]] if place is not None and place < len(row) else []

    def place(self, table: Table, blind: bool = False) -> int | None:
        """Which cell of a row it is, from 0; None where the table has no such heading.

        A heading that equals the text wins over a column number; of several equal headings the first wins.
        Blanks around a heading do not count where none equals the text as it is. `blind`: a heading that
        differs only in case will do, if there is just one.
        """
        headings, wanted = table.headings, self.text.strip()
        if self.text in headings:
            return headings.index(self.text)
        trimmed = [heading.strip() for heading in headings]
        if wanted in trimmed:
            return trimmed.index(wanted)
        if blind:
            folded = wanted.casefold()
            alike = {heading for heading in trimmed if heading.casefold() == folded}
            if len(alike) == 1:
                return trimmed.index(alike.pop())
        return int(wanted) - 1 if _NUMBER.fullmatch(wanted) else None


def compile_column(text: str) -> ColumnPath:
    """The path that the text is. Any text may be a heading; PathFault where it is empty or too long."""
    if not text.strip():
        raise PathFault("A heading or column number is missing")
    if len(text) > limits.PATH_CHARACTERS:
        raise PathFault("The path is too long", limits.PATH_CHARACTERS)
    return ColumnPath(text)


def parse_csv(body: bytes, charset: str | None = None) -> Table:
    """The table that a CSV document is. `charset` is what the server declared, if anything.

    Raises WrongDocument for an empty document, one with NUL bytes, and one that stops inside a quoted
    field; TooLarge for more rows than `limits.ROWS` or a cell longer than the csv module's limit, which is
    131,072 characters unless the process changed it.
    """
    if len(body) > limits.EXPANDED_BYTES:
        raise TooLarge("The document is too large")
    text = decode(body, (charset,)).removeprefix("\ufeff")
    if "\0" in text:
        raise WrongDocument("Not CSV: it holds NUL bytes")
    headings: tuple[str, ...] | None = None
    rows: list[tuple[str, ...]] = []
    for cells in _rows(text):
        if headings is None:
            headings = cells
            continue
        rows.append(cells)
        if len(rows) > limits.ROWS:
            raise TooLarge("Too many rows")
    if headings is None:
        raise WrongDocument("Empty, so not CSV")
    return Table(headings, tuple(rows))


def _rows(text: str) -> Iterator[tuple[str, ...]]:
    """The rows that are not empty lines."""
    lines = chain(io.StringIO(text, newline=""), _END)
    closed = False
    try:
        for cells in csv.reader(lines, delimiter=_separator(text)):
            closed = cells == [_END[-1]]
            if cells and not closed:
                yield tuple(cells)
    except csv.Error as fault:
        raise TooLarge("A cell is too large") from fault
    if not closed:
        raise WrongDocument("The CSV document stops too early")


def _separator(text: str) -> str:
    """The separator that the first line holds most of, outside quotes."""
    line = _first_line(_QUOTED.sub("", text[: limits.CSV_LOOK_CHARACTERS]))
    return max(_SEPARATORS, key=line.count)


def _first_line(text: str) -> str:
    return re.split(r"[\r\n]", text.lstrip("\r\n"), maxsplit=1)[0]
