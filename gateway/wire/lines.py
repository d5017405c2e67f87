"""bytes -> lines: what a client sends, edited and cut at its line ends (CONTRACT section 1).

A LineReader is fed bytes in pieces of any size and asked for one event at a time. It looks at no byte
further than the event it returns, so that a setting changed by one line holds for the very next byte,
however the bytes were cut into pieces. Telnet negotiation is RFC 854 and 855, refused as RFC 1143 asks.
"""

import copy
import re
from dataclasses import dataclass
from enum import Enum
from typing import Final

from adapters import limits
from gateway.wire.settings import Settings

NUL, BS, TAB, LF, CR, XON, XOFF, CAN, DEL, END_9B = 0, 8, 9, 10, 13, 17, 19, 24, 127, 0x9B
SE, EC, EL, SB, WILL, WONT, DO, DONT, IAC = 240, 247, 248, 250, 251, 252, 253, 254, 255


EOLS: Final = {"crlf": b"\r\n", "cr": b"\r", "lf": b"\n", "9b": b"\x9b", "none": b""}
"""Setting `eol` -> the bytes."""


class End(Enum):
    """What ended a line. CR may be half of CR LF: only the next byte can tell."""

    CR = "cr"
    LF = "lf"
    NINE_B = "9b"


@dataclass(frozen=True, slots=True)
class Line:
    """One line, edited, without its end. `data` is cut at the limit where `overlong`.

    `mirror` is the value of setting `eol` that answers in kind: a CR counts as CR LF until the byte after
    an earlier CR has shown otherwise, so that the way the bytes were cut never matters.
    """

    data: bytes
    end: End
    mirror: str
    overlong: bool = False


@dataclass(frozen=True, slots=True)
class Cancel:
    """18h: the line being typed is gone; a reply or transfer in progress is to be abandoned."""


Event = Line | Cancel

_ORDINARY: Final = re.compile(rb"[\x20-\x7e]+")
_CANCEL_BYTE: Final = re.compile(rb"[\x18\x98]")  # 98h is 18h where bit 7 is stripped
_SECRET: Final = re.compile(rb"(\? )?[ \t]*log(in?)?[ \t]+[^ \t]+[ \t]", re.IGNORECASE)


class _Telnet(Enum):
    DATA = 0
    COMMAND = 1  # after IAC
    OPTION = 2  # after IAC WILL, WONT, DO or DONT
    BLOCK = 3  # between IAC SB and IAC SE
    BLOCK_COMMAND = 4  # after IAC inside such a block


class LineReader:
    """The sans-I/O reader of one connection. Assign `settings` and `line_limit` between events."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.line_limit = limits.LINE_BYTES
        self._pending = bytearray()
        self._line = bytearray()
        self._overlong = False
        self._swallow: frozenset[int] = frozenset()
        self._after_cr = False
        self._cr_mirror = "crlf"
        self._telnet = _Telnet.DATA
        self._verb = 0
        self._output = bytearray()
        self._candidates = 0  # bytes pending that may be CAN
        self._cancel: bool | None = False  # whether one of them is; None: not known
        self.negotiated = False  # the client has spoken telnet

    @property
    def pending(self) -> int:
        """Bytes fed and not yet looked at."""
        return len(self._pending)

    def feed(self, data: bytes) -> None:
        """Append what arrived."""
        self._pending += data
        self._candidates += data.count(CAN) + data.count(CAN | 0x80)
        self._cancel = self._cancel or None

    def take_output(self) -> bytes:
        """Refusals and echo owed to the client since the last call."""
        output = bytes(self._output)
        self._output.clear()
        return output

    def cancel_ahead(self) -> bool:
        """Whether a CAN waits among the bytes not yet looked at (18h inside telnet is none).

        What is found is remembered until more bytes come or the CAN is reached, so that asking is cheap.
        """
        if self._cancel is None:
            self._cancel = self._candidates > 0 and self._find_cancel()
        return self._cancel

    def _find_cancel(self) -> bool:
        ahead = copy.copy(self)
        ahead._pending, ahead._line, ahead._output = bytearray(), bytearray(), bytearray()
        start = 0
        while (found := _CANCEL_BYTE.search(self._pending, start)) is not None:
            ahead._pending += self._pending[start : found.end()]
            start = found.end()
            while (event := ahead.next_event()) is not None:
                if isinstance(event, Cancel):
                    return True
        return False

    def next_event(self) -> Event | None:
        """The next line or CAN, or None until more bytes come."""
        pending, position, event = self._pending, 0, None
        seven = self.settings.bits == 7
        while event is None and position < len(pending):
            if not seven and not self._swallow and self._telnet is _Telnet.DATA:
                run = _ORDINARY.match(pending, position)
                if run:
                    self._type(run.group())
                    position = run.end()
                    continue
            byte = pending[position] & 0x7F if seven else pending[position]
            position += 1
            event = self._take(byte)
        if self._candidates:
            self._candidates -= pending.count(CAN, 0, position) + pending.count(CAN | 0x80, 0, position)
        if isinstance(event, Cancel):
            self._cancel = None
        del pending[:position]
        return event

    def _take(self, byte: int) -> Event | None:
        if self._telnet is not _Telnet.DATA:
            return self._negotiate(byte)
        if byte == IAC and self.settings.telnet != "off":
            self._telnet = _Telnet.COMMAND
            return None
        return self._character(byte)

    def _character(self, byte: int) -> Event | None:
        if byte in {XON, XOFF}:
            return None
        if self._after_cr:
            self._cr_mirror = "crlf" if byte == LF else "cr"
            self._after_cr = False
        swallow, self._swallow = self._swallow, frozenset()
        if byte in swallow or byte == NUL:
            return None
        if byte == CR:
            self._after_cr, self._swallow = True, frozenset({LF, NUL})
            return self._end(End.CR, self._cr_mirror)
        if byte == LF:
            self._swallow = frozenset({CR})
            return self._end(End.LF, "lf")
        if byte == END_9B and self.settings.charset == "ascii":
            return self._end(End.NINE_B, "9b")
        if byte == CAN:
            self._clear()
            return Cancel()
        if byte in {BS, DEL}:
            self._rub_out()
        else:
            self._type(bytes((byte,)))
        return None

    def _negotiate(self, byte: int) -> Event | None:
        """One byte after IAC. Nothing is ever agreed to, so refusals need no memory (RFC 1143)."""
        state, self._telnet = self._telnet, _Telnet.DATA
        if state is _Telnet.COMMAND:
            return self._command(byte)
        self.negotiated = True
        if state is _Telnet.OPTION:
            if self._verb in {WILL, DO}:
                self._output += bytes((IAC, DONT if self._verb == WILL else WONT, byte))
        elif state is _Telnet.BLOCK:
            self._telnet = _Telnet.BLOCK_COMMAND if byte == IAC else _Telnet.BLOCK
        elif byte != SE:
            self._telnet = _Telnet.BLOCK
        return None

    def _command(self, byte: int) -> Event | None:
        if byte in {WILL, WONT, DO, DONT}:
            self._telnet, self._verb = _Telnet.OPTION, byte
        elif byte == SB:
            self._telnet = _Telnet.BLOCK
        elif byte == EC:
            self._rub_out()
        elif byte == EL:
            self._clear()
        elif byte == IAC:
            return self._character(IAC)
        elif byte < SE:
            self._character(IAC)  # not a command: FFh was data, and so is what follows
            return self._character(byte)
        return None

    def _type(self, data: bytes) -> None:
        room = self.line_limit - len(self._line)
        if len(data) > room:
            self._overlong = True
            data = data[: max(0, room)]
        before = len(self._line)
        self._line += data
        if self.settings.echo:
            self._echo(data, before)

    def _echo(self, data: bytes, before: int) -> None:
        """Send back what was kept of what was typed, but no control byte and never the secret of a LOGIN."""
        secret = _SECRET.match(self._line)
        if secret is not None:
            data = data[: max(0, secret.end() - before)]
        shown = bytes(byte for byte in data if 0x20 <= byte < 0x7F or (byte >= 0xA0 and not self._ascii))
        if self.settings.telnet == "on" or (self.settings.telnet == "auto" and self.negotiated):
            shown = shown.replace(b"\xff", b"\xff\xff")
        self._output += shown

    @property
    def _ascii(self) -> bool:
        return self.settings.printed == "ascii"

    def _rub_out(self) -> None:
        if self._line and not self._overlong:
            del self._line[-1]
            if self.settings.echo:
                self._output += b"\b \b"

    def _clear(self) -> None:
        self._line.clear()
        self._overlong = False

    def _end(self, end: End, mirror: str) -> Line:
        if self.settings.echo:
            eol = mirror if end is End.NINE_B or self.settings.eol == "mirror" else self.settings.eol
            self._output += EOLS[eol]
        line = Line(bytes(self._line), end, mirror, self._overlong)
        self._clear()
        return line
