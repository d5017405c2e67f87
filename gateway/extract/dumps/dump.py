"""A value of the setting `bytes` -> the Dump that lays bytes out that way.

`raw` has none: its bytes are sent as they are.
"""

from typing import Protocol

from gateway.extract.dumps.hexadecimal import HexDump
from gateway.extract.dumps.intel import IntelDump
from gateway.extract.dumps.lines import LineDump
from gateway.extract.fields.text import Lettering
from gateway.extract.plan import Record


class Dump(Protocol):
    """Lays out one READ. It is fed in windows, whose borders never show in the records."""

    def feed(self, data: bytes) -> list[Record]:
        """The records that are complete with these bytes."""
        ...

    def finish(self, ended: bool) -> list[Record]:
        """The last records; `ended`: the document ends here too, and not only what was asked for."""
        ...

    def wanted(self, records: int) -> int:
        """How many bytes to feed for about so many records; never 0."""
        ...


def dump_for(mode: str, room: int, offset: int, lettering: Lettering) -> Dump:
    """The Dump for `hex`, `ihex` or `line`: records of `room` characters, the mark not counted.

    `offset` is where the first byte stands in the document. ValueError for another mode.
    """
    match mode:
        case "hex":
            return HexDump(room)
        case "ihex":
            return IntelDump(room, offset)
        case "line":
            return LineDump(room, lettering)
    raise ValueError(mode)
