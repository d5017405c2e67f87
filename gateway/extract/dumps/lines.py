"""bytes -> the document's own lines, unwrapped: `+` in the last column where one goes on in the next record.

Lines end at CR LF, CR or LF. Bytes are read as UTF-8, and those that are not valid there as windows-1252,
which is what a label of Latin-1 commonly means. Characters are spelled as in any text, but every blank stays,
and a control character, TAB too, is one blank. A line is spelled in stretches of `_STRETCH` characters
counted from its start, so that a line of any length needs no more memory than that.
"""

import codecs
import re
from collections.abc import Iterator
from typing import Final

from gateway.extract.fields.text import Lettering
from gateway.extract.markup.decode import decode_bytewise
from gateway.extract.plan import Record

_STRETCH: Final = 4_096
_END: Final = re.compile(r"\r\n?|\n")
_BYTEWISE: Final = "headrace-bytewise"


def _bytewise(fault: UnicodeError) -> tuple[str, int]:
    if not isinstance(fault, UnicodeDecodeError):
        raise fault
    return decode_bytewise(fault.object[fault.start : fault.end], "cp1252"), fault.end


codecs.register_error(_BYTEWISE, _bytewise)


class LineDump:
    """Records of `room` characters, at least two, the last of which is `+` or a blank."""

    def __init__(self, room: int, lettering: Lettering) -> None:
        self._text_room = room - 1
        self._lettering = lettering
        self._decoder = codecs.getincrementaldecoder("utf-8")(_BYTEWISE)
        self._source = ""  # of the open line, not spelled yet
        self._spelt = ""  # of the open line, not in a record yet
        self._open = False
        self._after_return = False

    def feed(self, data: bytes) -> list[Record]:
        """The records that are complete with these bytes."""
        return list(self._records(self._decoder.decode(data)))

    def finish(self, ended: bool = True) -> list[Record]:
        """The line without an end; where only what was asked for ends, it is marked as continuing."""
        records = list(self._records(self._decoder.decode(b"", final=True)))
        if self._open:
            records += self._close("" if ended else "+")
        return records

    def wanted(self, records: int) -> int:
        """An estimate: lines as long as half a record."""
        return max(1, records * self._text_room // 2)

    def _records(self, text: str) -> Iterator[Record]:
        if self._after_return and text:
            text = text.removeprefix("\n")
            self._after_return = False
        start = 0
        for end in _END.finditer(text):
            yield from self._take(text[start : end.start()])
            yield from self._close("")
            start = end.end()
            self._after_return = end[0] == "\r" and start == len(text)
        if start < len(text):
            yield from self._take(text[start:])

    def _take(self, text: str) -> Iterator[Record]:
        self._open = True
        text = self._source + text
        start = 0
        while len(text) - start > _STRETCH:
            yield from self._lay(text[start : start + _STRETCH])
            start += _STRETCH
        self._source = text[start:]

    def _close(self, mark: str) -> Iterator[Record]:
        yield from self._lay(self._source)
        yield Record(self._spelt.ljust(self._text_room) + (mark or " "))
        self._source = self._spelt = ""
        self._open = False

    def _lay(self, source: str) -> Iterator[Record]:
        text = self._spelt + self._lettering.spell(source)
        start = 0
        while len(text) - start > self._text_room:
            yield Record(text[start : start + self._text_room] + "+")
            start += self._text_room
        self._spelt = text[start:]
