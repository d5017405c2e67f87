"""The characters of a plain text -> its lines, wrapped where they are too long, or flowed.

Lines end at CR LF, CR or LF, in any mixture. A TAB goes to the next column that is a multiple of eight,
counted in what is printed. A form feed is a blank line. With `flow` the lines of a paragraph are joined and
wrapped anew: a paragraph ends at a blank line, and before a line that begins with a blank, a bullet or a
number, since that is a list, a verse or a table.
"""

import re
from collections.abc import Iterator
from typing import Final

from adapters import limits
from gateway.extract.fields.text import Lettering
from gateway.extract.texts.wrapping import wrapped

_TAB_COLUMNS: Final = 8
_TABS: Final = 1_000  # of one line; further ones are blanks, so that a line of TABs stays short
_ANEW: Final = re.compile(r"[ \t]|(?:[-*+]|\d{1,3}[.)]) ")


def plain_lines(text: str, lettering: Lettering, width: int, flow: bool) -> Iterator[str]:
    """Lines of at most `width` printable characters, without blanks at their ends."""
    lines = source_lines(text)
    for line in _flowed(lines, lettering) if flow else (printed(each, lettering) for each in lines):
        yield from wrapped(line, width)


def source_lines(text: str) -> Iterator[str]:
    """The lines as they stand in the text, without their ends; a last line need not have one."""
    text = _with_line_feeds(text)
    start = 0
    while start < len(text):
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        line = text[start:end]
        start = end + 1
        if "\f" in line:
            yield from _between_form_feeds(line)
        else:
            yield line


def _with_line_feeds(text: str) -> str:
    """`text` with LF at each line's end, in pieces: all other threads wait for one call over megabytes."""
    if "\r" not in text:
        return text
    pieces: list[str] = []
    start = 0
    while start < len(text):
        end = start + limits.DECODE_BYTES
        if text[end - 1 : end + 1] == "\r\n":
            end += 1
        pieces.append(text[start:end].replace("\r\n", "\n").replace("\r", "\n"))
        start = end
    return "".join(pieces)


def _between_form_feeds(line: str) -> Iterator[str]:
    start = 0
    while (end := line.find("\f", start)) >= 0:
        if end > start:
            yield line[start:end]
        yield ""
        start = end + 1
    if start < len(line):
        yield line[start:]


def printed(line: str, lettering: Lettering) -> str:
    """One line as it is printed: TABs first, which count the characters that are printed before them."""
    if "\t" not in line:
        return lettering.spell(line)
    return "\t".join([lettering.spell(each) for each in line.split("\t", _TABS)]).expandtabs(_TAB_COLUMNS)


def _flowed(lines: Iterator[str], lettering: Lettering) -> Iterator[str]:
    paragraph: list[str] = []
    for each in lines:
        line = printed(each, lettering).rstrip(" ")
        if paragraph and (not line or _ANEW.match(line)):
            yield " ".join(paragraph)
            paragraph = []
        if line:
            paragraph.append(line)
        else:
            yield ""
    if paragraph:
        yield " ".join(paragraph)
