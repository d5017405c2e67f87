"""Lines of a reply -> Reply, as a small program reads one (CONTRACT section 2)."""

import re
from dataclasses import dataclass, field
from typing import Final

from gateway.serial.run import Run
from gateway.wire.charsets import find_charset
from gateway.wire.settings import Settings

__tracebackhide__ = True  # pytest then shows the test's own line where something did not come

STATUS_COLUMNS: Final = 16
_STATUS: Final = re.compile(r"([1-5][0-9]{2}) ([0-9]{5}) ([0-9]{3}) ([+.])([*SLC.])")


class Unmet(AssertionError):
    """What a test waited for did not come, or was something else: the message says what came."""


@dataclass(frozen=True, slots=True)
class Reply:
    """`status` is the code, `count` the records that the status line announces, `text` that line.

    `records` are as they came, mark included, check digits taken off. On a line that lost bytes they are what
    the program makes of the rest, and may be fewer or shorter. `run` is what the simulated line did.
    """

    status: int
    count: int
    text: str
    records: tuple[str, ...] = ()
    run: Run | None = field(default=None, compare=False, repr=False)

    @property
    def done(self) -> bool:
        """Whether the status is 2xx."""
        return 200 <= self.status < 300

    @property
    def width(self) -> int:
        """Columns of each record, check digits included."""
        return int(self.text[10:13])

    @property
    def more(self) -> bool:
        """Whether further pages wait for MORE."""
        return self.text[14] == "+"

    @property
    def worst(self) -> str:
        """Column 16: `*` `S` `L` `C` or `.`."""
        return self.text[15]

    @property
    def lost(self) -> int:
        """Bytes that the simulated line lost."""
        return 0 if self.run is None else len(self.run.losses)

    @property
    def seconds(self) -> float:
        """How long the simulated line and the program took, from the gateway's having the reply; else 0."""
        return 0.0 if self.run is None else float(self.run.finished or self.run.ended)


def shown(data: bytes, settings: Settings) -> str:
    """Bytes as characters of the session's charset."""
    characters = find_charset(settings.printed).characters
    return "".join(characters[byte] for byte in data)


def reply_of(status_line: str, records: tuple[str, ...] = (), run: Run | None = None) -> Reply | None:
    """The reply with that status line, or None where it is none."""
    match = _STATUS.fullmatch(status_line)
    if match is None:
        return None
    return Reply(int(match[1]), int(match[2]), status_line, records, run)
