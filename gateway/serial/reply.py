"""Records and a width -> the lines of a reply, as the gateway would send them under the settings.

For a simulation only how many bytes there are matters, and which of them end lines, so the text is made up.
"""

from dataclasses import dataclass
from itertools import cycle, islice
from typing import Final

from adapters import limits
from adapters.errors import WrongWords
from gateway.wire.lines import EOLS
from gateway.wire.replies import Reply, encode_lines
from gateway.wire.settings import Settings

_TEXT: Final = "THE RIVER IS WIDE AND THE MILL IS SMALL "


@dataclass(frozen=True, slots=True)
class Shape:
    """A reply before settings: so many records, each so many columns as laid out, without mark and check.

    WrongWords: a width or a number of records that no reply has, or more than can be simulated.
    """

    records: int
    columns: int

    def __post_init__(self) -> None:
        if not 1 <= self.columns <= limits.RECORD_WIDTH:
            raise WrongWords(f"a record is 1-{limits.RECORD_WIDTH} columns wide")
        if not 0 <= self.records <= limits.PAGE_RECORDS:
            raise WrongWords(f"0-{limits.PAGE_RECORDS:,} records")
        if self.records * self.columns > limits.SERIAL_REPLY_BYTES:
            raise WrongWords(f"{limits.SERIAL_REPLY_BYTES:,} bytes at most can be simulated: fewer records")

    def lines(self, settings: Settings) -> list[bytes]:
        """The reply's lines under `settings`, of which `page` may leave the rest for MORE.

        WrongWords: the client does not take records so wide, or no reply has them.
        """
        width = self.columns + settings.added
        if width > settings.most:
            raise WrongWords(f"{width} columns, and the client takes {settings.most}")
        records = min(self.records, settings.page) if settings.page else self.records
        text = "".join(islice(cycle(_TEXT), self.columns))
        reply = Reply(200, settings, [text] * records, self.columns if records else 0)
        return list(encode_lines(reply, line_end_bytes(settings), escape_iac=False))


def line_end_bytes(settings: Settings) -> bytes:
    """What ends a line; a machine whose own line end is mirrored is taken to end its lines in CR LF."""
    return EOLS["crlf" if settings.eol == "mirror" else settings.eol]
