"""a far server's bytes -> records of a width, for programs that cannot take a raw stream (TALK ... lines).

Escape sequences (ECMA-48) and other controls are taken out, for a record has none; a tab is blanks up to the
next of every eight columns, and 08h takes back what it backs over.
"""

import re
from collections.abc import Mapping
from typing import Final

from gateway.extract.fields.text import Lettering
from gateway.extract.texts.wrapping import wrapped
from gateway.streams.to_client import FarText
from gateway.wire.settings import Settings

_TAB: Final = 8  # columns
_LONGEST: Final = 256  # characters of an escape sequence that has not ended; a longer one is none
_SEQUENCE: Final = re.compile(
    "\x1b(?:"
    r"\[[0-?]*[ -/]*[@-~]"  # ECMA-48 section 5.4: a control sequence
    "|[]PX^_][^\x07\x1b]*(?:\x07|\x1b\\\\)"  # section 5.6: a control string; BEL ends it by common practice
    r"|[ -/]*[0-OQ-WYZ\\`-~]"  # section 5.5, and ECMA-35: other escape sequences
    ")"
)
_OPEN: Final = re.compile("\x1b(?:\\[[0-?]*[ -/]*|[]PX^_][^\x07\x1b]*\x1b?|[ -/]*)$")
_OTHER: Final = re.compile("[\0-\x07\x0b-\x1f\x7f]")


class FarLines:
    """What has come and was not taken yet. `charset` is the far server's, by Python's name."""

    def __init__(self, settings: Settings, charset: str, letters: Mapping[str, str] | None = None) -> None:
        self._text = FarText(charset)
        self._lettering = Lettering(settings.printed, letters)
        self._waiting = ""
        self._over = False

    def feed(self, data: bytes) -> None:
        """More bytes."""
        self._waiting += self._text.feed(data)

    def finish(self) -> None:
        """Nothing else comes."""
        self._waiting += self._text.feed(b"", final=True)
        self._over = True

    @property
    def waiting(self) -> int:
        """Characters that were not taken yet."""
        return len(self._waiting)

    def take(self, width: int, most: int) -> list[str]:
        """At most `most` records of `width` characters, a line that has not ended yet the last of them."""
        whole, rest = self._ready()
        records: list[str] = []
        while whole and len(records) < most:
            line, end, whole = whole.partition("\n")
            pieces = [piece.ljust(width) for piece in wrapped(self._spelled(line), width)]
            room = most - len(records)
            records += pieces[:room]
            if len(pieces) > room:
                whole = " ".join(piece.rstrip() for piece in pieces[room:]) + end + whole
        self._waiting = whole + rest
        return records

    def _ready(self) -> tuple[str, str]:
        """What can be shown, its escape sequences off, and the beginning of one that is not whole yet."""
        text = _SEQUENCE.sub("", self._waiting)
        open_one = _OPEN.search(text)
        if open_one is None or self._over or len(open_one[0]) > _LONGEST:
            return text, ""
        return text[: open_one.start()], open_one[0]

    def _spelled(self, line: str) -> str:
        columns: list[str] = []
        for character in _OTHER.sub("", line):
            if character == "\t":
                columns += " " * (_TAB - len(columns) % _TAB)
            elif character == "\b":
                del columns[-1:]
            else:
                columns.append(character)
        return self._lettering.spell("".join(columns))
