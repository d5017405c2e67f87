"""a socket to a running gateway -> the `Far` end of a simulated line, one whole reply at a time.

The gateway is real and answers in real time; the simulated machine's time stands still meanwhile, so a run
comes out the same however busy this computer is. What to read is known from the contract alone: a status
line says how many records follow and how wide they are (section 2), the settings how a line ends and how
many lines come before the gateway waits (section 5).
"""

import re
import socket
from collections.abc import Callable, Mapping

from gateway.wire.settings import CHECK_WIDTHS, Settings

ENDS: Mapping[str, bytes] = {
    "crlf": b"\r\n",
    "mirror": b"\r\n",
    "cr": b"\r",
    "lf": b"\n",
    "none": b"",
    "9b": b"\x9b",
}
_STATUS = re.compile(rb"[1-5]\d\d (\d{5}) (\d{3}) [.+][*SLC.]")

Spoil = Callable[[int, bytes], bytes]
"""A line's place among all lines that went its way (from 0), and the line -> the line as it arrives."""


def unspoiled(_place: int, line: bytes) -> bytes:
    """The line as it was sent."""
    return line


class Gateway:
    """One connection to a gateway whose settings, from the first reply on, are `settings`.

    `sends` is the program's line end, of which `reply` is told nothing. `asked` are the program's lines
    before `spoil_asked` had them, `told` the gateway's before `spoil`.
    """

    def __init__(
        self,
        connection: socket.socket,
        settings: Settings,
        spoil: Spoil = unspoiled,
        spoil_asked: Spoil = unspoiled,
        sends: bytes = b"\r",
    ) -> None:
        self.asked: list[bytes] = []
        self.told: list[bytes] = []
        self._stream = connection.makefile("rwb")
        self._settings = settings
        self._end = ENDS[settings.eol]
        self._check = CHECK_WIDTHS[settings.check]
        self._spoil = spoil
        self._spoil_asked = spoil_asked
        self._sends = sends
        self._ahead = bytearray()  # read already
        self._agreed = False  # the settings are in force: until then lines are plain
        self._left = 0  # records of the reply that the gateway still holds back
        self._width = 0
        self._waits = False  # for an empty line, after the last window too
        self._last = (0, False)  # records of the last window, and whether its status line was there

    @property
    def requests(self) -> list[bytes]:
        """What was asked, empty lines left out and without the request's own check."""
        return [line.split(b" *")[0] for line in self.asked if line]

    def reply(self, line: bytes) -> list[bytes]:
        """What the gateway says to one line, up to where it waits."""
        self.asked.append(line)
        line = self._spoil_asked(len(self.asked) - 1, line)
        self._stream.write(line + self._sends)
        self._stream.flush()
        words = line.split(b" *")[0].upper().split()
        if not words:
            lines = self._records(min(self._left, self._settings.window)) if self._waits else []
        elif words == [b"AGAIN"] and self._waits and not self._comes(b"500 00001 "):
            lines = self._same()
        else:
            lines = self._reply()
        told = [self._spoil(len(self.told) + place, each) for place, each in enumerate(lines)]
        self.told += lines
        return told

    def _reply(self) -> list[bytes]:
        status = self._read(16)
        found = _STATUS.match(status)
        assert found, f"no status line: {status!r}"
        self._agreed = self._agreed or status.startswith(b"2")
        end, check = (self._end, self._check) if self._agreed else (ENDS["crlf"], 0)
        count, width = int(found[1]), int(found[2])
        status += self._read(check) + self._mirrored(count if self._settings.window != 1 else 0)
        end = self._end if self._agreed else end
        # A 500 acknowledges nothing and is sent whole.
        if status.startswith(b"500") or not self._agreed:
            return [status, *(self._read(width) + self._ended(end) for _ in range(count))]
        self._left, self._width = count, width
        first = min(count, self._settings.window - 1) if self._settings.window else count
        lines = [status, *self._records(first)]
        self._last = (first, True)
        self._waits = self._settings.window > 0
        return lines

    def _same(self) -> list[bytes]:
        count, with_status = self._last
        first = [self._line(16 + self._check)] if with_status else []
        return first + [self._line(self._width) for _ in range(count)]

    def _records(self, count: int) -> list[bytes]:
        lines = [self._line(self._width) for _ in range(count)]
        self._waits = count > 0  # no line of the reply was left: it is acknowledged
        self._left -= count
        self._last = (count, False)
        return lines

    def _line(self, width: int) -> bytes:
        return self._read(width) + self._ended(self._end)

    def _ended(self, end: bytes) -> bytes:
        found = self._read(len(end))
        assert found == end, f"no line end: {found!r}"
        return found

    def _mirrored(self, following: int) -> bytes:
        """A status line's end. With eol=mirror a CR is answered as CR LF until the byte after it has come."""
        if self._settings.eol != "mirror" or not self._agreed:
            return self._ended(self._end if self._agreed else ENDS["crlf"])
        found = self._read(1)
        if len(self.asked) > 1 and following:
            self._ahead += self._stream.read(1) or b""
            self._end = b"\r\n" if self._ahead.startswith(b"\n") else b"\r"
        return found + self._ended(self._end[1:])

    def _comes(self, start: bytes) -> bool:
        """Whether what comes next begins so; no more is read than it takes to know."""
        while len(self._ahead) < len(start) and start.startswith(self._ahead):
            self._ahead += self._stream.read(1) or b"\0"
        return self._ahead == start

    def _read(self, length: int) -> bytes:
        data = bytes(self._ahead[:length])
        del self._ahead[:length]
        data += self._stream.read(length - len(data)) or b""
        assert len(data) == length, f"the gateway ended: {data!r}"
        return data
