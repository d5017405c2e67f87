"""Blocks of a page, and one block -> its lines: paragraphs, verbatim text, rules and tables under a margin.

A link's number is kept in a block's text between two control characters until the text is printed; a page
cannot hold those itself, since its own control characters are blanks by then. A number in square brackets is
always a link: one that the page itself has is written in round brackets, but for verbatim text.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gateway.extract.fields.text import Lettering
from gateway.extract.texts.plain import printed, source_lines
from gateway.extract.texts.wrapping import wrapped

_BEGIN: Final = "\x02"
_END: Final = "\x03"
_MARKER: Final = re.compile(f"{_BEGIN}(\\d+){_END}")
_BRACKETED: Final = re.compile(r"\[(\d+)\]")


@dataclass(frozen=True, slots=True)
class Margin:
    """What stands left of a block: on its first line, such as a list's bullet, and on the others."""

    first: str = ""
    rest: str = ""

    def within(self, width: int) -> "Margin":
        """The margin cut down to half of `width` from the left, so that there is room for a text."""
        most = width // 2
        return self if len(self.rest) <= most else Margin(self.first[-most:], self.rest[-most:])


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Text that wraps; `\\n` in it breaks the line. `under`: what it is underlined with, or empty."""

    text: str
    under: str = ""


@dataclass(frozen=True, slots=True)
class Verbatim:
    """Text whose lines and blanks stay."""

    text: str


@dataclass(frozen=True, slots=True)
class Rule:
    """A line across."""


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of one row of a table; `head`: they name the columns."""

    cells: tuple[str, ...]
    head: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows, which need not have equally many cells."""

    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """One of those under its margin; `apart`: a blank line stands before it, but for the first."""

    body: Paragraph | Verbatim | Rule | Table
    margin: Margin = Margin()
    apart: bool = False


def marker(number: int) -> str:
    """A link's number as it is kept in a block's text."""
    return f"{_BEGIN}{number}{_END}"


def spelt(text: str, lettering: Lettering) -> list[str]:
    """The lines of a paragraph or cell in printable characters; at least one, and blank ones only between."""
    lines = [_spelt_line(line, lettering) for line in text.split("\n")]
    while len(lines) > 1 and not lines[-1]:
        lines.pop()
    while len(lines) > 1 and not lines[0]:
        lines.pop(0)
    return lines


def _spelt_line(line: str, lettering: Lettering) -> str:
    parts = _MARKER.split(line)
    parts[::2] = [_BRACKETED.sub(r"(\1)", lettering.spell(part)) for part in parts[::2]]
    parts[1::2] = [f" [{number}]" for number in parts[1::2]]
    return " ".join("".join(parts).split())


def paragraph_lines(paragraph: Paragraph, lettering: Lettering, width: int) -> Iterator[str]:
    """A paragraph's lines, and the line under them."""
    longest = 0
    for line in spelt(paragraph.text, lettering):
        for piece in wrapped(line, width):
            longest = max(longest, len(piece))
            yield piece
    if paragraph.under and longest:
        yield paragraph.under * longest


def verbatim_lines(verbatim: Verbatim, lettering: Lettering, width: int) -> Iterator[str]:
    """The lines as they stand, long ones wrapped."""
    for line in source_lines(verbatim.text):
        parts = _MARKER.split(line)
        text = printed(parts[0], lettering)
        for number, part in zip(parts[1::2], parts[2::2], strict=True):
            text = f"{text.rstrip(' ')} [{number}]{printed(part, lettering)}"
        yield from wrapped(text, width)
