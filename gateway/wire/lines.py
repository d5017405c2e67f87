"""bytes -> lines: what a client sends, edited and cut at its line ends (CONTRACT section 1).

A LineReader is fed bytes in pieces of any size and asked for one event at a time. It looks at no byte
further than the event it returns, so that a setting changed by one line holds for the very next byte,
however the bytes were cut into pieces. Telnet negotiation is RFC 854 and 855, refused as RFC 1143 asks.

During a transfer it also gives `Data`: the beginning of a data line too long to be kept until it ends, or
raw bytes by their count, once told to `expect` them. `Pause` comes where many bytes made no event.
"""

import copy
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final

from adapters import limits
from gateway.wire.charsets import SEVEN_BITS
from gateway.wire.settings import Settings
from gateway.wire.telnet import DO, DONT, EC, EL, IAC, SB, SE, WILL, WONT, Telnet, has_cancel

NUL, BS, TAB, LF, CR, XON, XOFF, CAN, DEL, END_9B = 0, 8, 9, 10, 13, 17, 19, 24, 127, 0x9B


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
    an earlier CR has shown otherwise, so that the way the bytes were cut never matters. `continued`: the end
    of a data line whose beginning came as `Data`; nothing stands before it.
    """

    data: bytes
    end: End
    mirror: str
    overlong: bool = False
    continued: bool = False


@dataclass(frozen=True, slots=True)
class Data:
    """Bytes of a transfer: raw ones where `counted`, else a part of a data line, its prompt and `>` off."""

    data: bytes
    counted: bool = False


@dataclass(frozen=True, slots=True)
class Cancel:
    """18h: the line being typed is gone; a reply or transfer in progress is to be abandoned."""


@dataclass(frozen=True, slots=True)
class Pause:
    """Many bytes made no event and more of them wait: nothing to do, but others may have their turn first."""


Event = Line | Data | Cancel | Pause

_ORDINARY: Final = re.compile(rb"[\x20-\x7e\x80-\x9a\x9c-\xfe]+")  # of eight bits, in any charset
_DROPPED: Final = re.compile(rb"[\0\x11\x13]+")
_DROPPED_BYTES: Final = frozenset((NUL, XON, XOFF))
_RAW_LOOKS: Final = 8  # goes through raw bytes to look behind them; all that are read ahead take five
_DATA_START: Final = re.compile(rb"(?:\? )?>")
_SECRET: Final = re.compile(rb"(\? )?[ \t]*log(in?)?[ \t]+[^ \t]+[ \t]", re.IGNORECASE)


class LineReader:
    """The sans-I/O reader of one connection. Assign `settings`, `line_limit` and `data_lines` between events.

    `data_lines`: a line that begins with `>` may have any length, and comes in pieces.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.line_limit = limits.LINE_BYTES
        self.data_lines = False
        self._pending = bytearray()
        self._line = bytearray()
        self._overlong = False
        self._continued = False  # the line's beginning has been given away
        self._counted: int | None = None  # raw bytes still to come
        self._swallow: frozenset[int] = frozenset()
        self._ended: int | None = None  # the byte that just ended a line, until the next one comes
        self._followers: Mapping[int, frozenset[int]] = {}  # what this client sent after such a byte
        self._cr_mirror = "crlf"
        self._telnet = Telnet.DATA
        self._verb = 0
        self._output = bytearray()
        self._candidates = 0  # bytes pending that may be CAN
        self._cancel: bool | None = False  # whether one of them is; None: not known
        self.negotiated = False  # the client has spoken telnet

    @property
    def pending(self) -> int:
        """Bytes fed and not yet looked at."""
        return len(self._pending)

    @property
    def waiting(self) -> bool:
        """Whether bytes are there that come after the last line and all of its end."""
        end = bytes(self._pending[:1])
        if self.settings.bits == 7:
            end = end.translate(SEVEN_BITS)
        return len(self._pending) > (len(end) > 0 and end[0] in self._swallow)

    def feed(self, data: bytes) -> None:
        """Append what arrived."""
        self._pending += data
        candidates = data.count(CAN) + data.count(CAN | 0x80)
        self._candidates += candidates
        if candidates and not self._cancel:
            self._cancel = None

    def expect(self, count: int) -> None:
        """The next `count` bytes are raw. `Data` gives them as they come, once at least, even for none.

        A LF or NUL after the CR that ended the last line belongs to it if this client's earlier lines ended
        so, or if there were none: raw bytes may begin with the same byte, and nothing else tells them apart.
        """
        self._counted = count
        if count and self._ended is not None:
            self._swallow &= self._followers.get(self._ended, self._swallow)
        self._cancel = None

    def discard(self) -> None:
        """Forget the bytes fed and not yet looked at."""
        self._consume(len(self._pending))
        self._cancel = False

    def take_output(self) -> bytes:
        """Refusals and echo owed to the client since the last call."""
        output = bytes(self._output)
        self._output.clear()
        return output

    def cancel_ahead(self) -> bool:
        """Whether a CAN waits among the bytes not yet looked at (18h inside telnet is none).

        What is found is remembered until more bytes come or the CAN is reached, so that asking is cheap.
        """
        if self._counted is not None and self._counted >= len(self._pending):
            return False
        if self._cancel is None:
            self._cancel = self._candidates > 0 and self._find_cancel()
        return self._cancel

    def _find_cancel(self) -> bool:
        """Only raw bytes and negotiation can hold a CAN that is none: the rest need not be walked through.

        A CAN behind raw bytes that are full of negotiation may be seen only when it is reached.
        """
        ahead = copy.copy(self)
        ahead._pending, ahead._output = self._pending.copy(), bytearray()
        for _ in range(_RAW_LOOKS):
            if ahead._counted is None or ahead._raw(ahead._counted) is None:
                break
        if ahead._counted is not None:
            return False
        if self.settings.bits == 7:
            return CAN in ahead._pending or CAN | 0x80 in ahead._pending
        if self.settings.telnet == "off" or CAN not in ahead._pending:
            return CAN in ahead._pending
        return has_cancel(ahead._pending, ahead._telnet)

    def next_event(self) -> Event | None:
        """The next line, data, CAN or pause, or None until more bytes come."""
        if self._counted is not None:
            return self._raw(self._counted)
        pending, position = self._pending, 0
        event: Event | None = None
        seven = self.settings.bits == 7
        steps = 0
        while event is None and position < len(pending):
            if steps == limits.READER_STEPS:
                event = Pause()
                break
            steps += 1
            byte = pending[position] & 0x7F if seven else pending[position]
            if not seven and not self._swallow and self._telnet is Telnet.DATA:
                run = _ORDINARY.match(pending, position, position + self._room)
                if run:
                    event = self._type(run.group())
                    position = run.end()
                    continue
                if byte in _DROPPED_BYTES and self._ended is None:
                    run = _DROPPED.match(pending, position)
                    position = run.end() if run else position
                    continue
            position += 1
            event = self._take(byte)
        self._consume(position)
        if isinstance(event, Cancel):
            self._cancel = None
        return event

    def _consume(self, count: int) -> None:
        """Let go of bytes that have been looked at."""
        pending = self._pending
        if self._candidates:
            self._candidates -= pending.count(CAN, 0, count) + pending.count(CAN | 0x80, 0, count)
        del pending[:count]

    def _raw(self, count: int) -> Data | Pause | None:
        """What has come of the raw bytes expected: bit 7 and telnet as set, and nothing else touched."""
        pending, position = self._pending, 0
        seven = self.settings.bits == 7
        if count and pending and self._swallow:
            position += (pending[0] & 0x7F if seven else pending[0]) in self._swallow
            self._swallow, self._ended = frozenset(), None
        room, data = min(count, limits.STAGE_BYTES), bytearray()
        if self.settings.telnet == "on" and not seven:
            position = self._without_telnet(position, room, data)
        else:
            data += pending[position : position + room]
            position += len(data)
        self._consume(position)
        if count and not data:
            return Pause() if pending else None
        self._counted = count - len(data) or None
        return Data(bytes(data.translate(SEVEN_BITS) if seven else data), counted=True)

    def _without_telnet(self, position: int, room: int, data: bytearray) -> int:
        """Add to `data` up to `room` bytes from `position` on, negotiation taken out; the position after."""
        pending = self._pending
        for _ in range(limits.READER_STEPS):
            if position >= len(pending) or len(data) >= room:
                break
            byte = pending[position]
            if self._telnet is Telnet.DATA:
                most = position + room - len(data)
                end = pending.find(IAC, position, most)
                data += pending[position : end if end >= 0 else most]
                if end >= 0:
                    self._telnet = Telnet.COMMAND
                position = end + 1 if end >= 0 else min(most, len(pending))
            elif self._telnet is Telnet.COMMAND and (byte == IAC or byte < SE):
                self._telnet = Telnet.DATA
                data.append(IAC)  # doubled, or before what is no command
                position += byte == IAC
            else:
                self._negotiate(byte)
                position += 1
        return position

    def _take(self, byte: int) -> Event | None:
        if self._telnet is not Telnet.DATA:
            return self._negotiate(byte)
        if byte == IAC and self.settings.telnet != "off":
            self._telnet = Telnet.COMMAND
            return None
        return self._character(byte)

    def _character(self, byte: int) -> Event | None:
        if byte in {XON, XOFF}:
            return None
        if self._ended is not None:
            if self._ended == CR:
                self._cr_mirror = "crlf" if byte == LF else "cr"
            self._followers = {**self._followers, self._ended: self._swallow & {byte}}
            self._ended = None
        swallow, self._swallow = self._swallow, frozenset()
        if byte in swallow or byte == NUL:
            return None
        if byte == CR:
            self._ended, self._swallow = CR, frozenset({LF, NUL})
            return self._end(End.CR, self._cr_mirror)
        if byte == LF:
            self._ended, self._swallow = LF, frozenset({CR})
            return self._end(End.LF, "lf")
        if byte == END_9B and self.settings.charset == "ascii":
            return self._end(End.NINE_B, "9b")
        if byte == CAN:
            self._clear()
            return Cancel()
        if byte in {BS, DEL}:
            self._rub_out()
            return None
        return self._type(bytes((byte,)))

    def _negotiate(self, byte: int) -> Event | None:
        """One byte after IAC. Nothing is ever agreed to, so refusals need no memory (RFC 1143)."""
        state, self._telnet = self._telnet, Telnet.DATA
        if state is Telnet.COMMAND:
            return self._command(byte)
        self.negotiated = True
        if state is Telnet.OPTION:
            if self._verb in {WILL, DO}:
                self._output += bytes((IAC, DONT if self._verb == WILL else WONT, byte))
        elif state is Telnet.BLOCK:
            self._telnet = Telnet.BLOCK_COMMAND if byte == IAC else Telnet.BLOCK
        elif byte != SE:
            self._telnet = Telnet.BLOCK
        return None

    def _command(self, byte: int) -> Event | None:
        if byte in {WILL, WONT, DO, DONT}:
            self._telnet, self._verb = Telnet.OPTION, byte
        elif byte == SB:
            self._telnet = Telnet.BLOCK
        elif byte == EC:
            self._rub_out()
        elif byte == EL:
            self._line.clear()
            self._overlong = self._continued  # what was given away cannot be taken back
        elif byte == IAC:
            return self._character(IAC)
        elif byte < SE:
            self._character(IAC)  # not a command: FFh was data, and so is what follows
            return self._character(byte)
        return None

    @property
    def _room(self) -> int:
        """Bytes that may be taken at once, so that a data line is cut alike however its bytes come."""
        whole = limits.PIECE_BYTES + limits.LINE_BYTES
        return whole - len(self._line) if self.data_lines else limits.PIPELINE_BYTES

    def _type(self, data: bytes) -> Data | None:
        room, before = self.line_limit - len(self._line), len(self._line)
        is_data = self.data_lines and self._is_data(data)
        if len(data) > room and not is_data:
            self._overlong = True
            data = data[: max(0, room)]
        self._line += data
        if self.settings.echo:
            self._echo(data, before)
        if not is_data or len(self._line) < limits.PIECE_BYTES + limits.LINE_BYTES:
            return None
        begins = None if self._continued else _DATA_START.match(self._line)
        part = bytes(self._line[begins.end() if begins else 0 : limits.PIECE_BYTES])
        del self._line[: limits.PIECE_BYTES]
        self._continued = True
        return Data(part)

    def _is_data(self, more: bytes) -> bool:
        return self._continued or _DATA_START.match(bytes(self._line[:3]) + more[:3]) is not None

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
        if self._continued and not self._line:
            self._overlong = True  # what was given away cannot be taken back
        if self._line and not self._overlong:
            del self._line[-1]
            if self.settings.echo:
                self._output += b"\b \b"

    def _clear(self) -> None:
        self._line.clear()
        self._overlong = self._continued = False

    def _end(self, end: End, mirror: str) -> Line:
        if self.settings.echo:
            eol = mirror if end is End.NINE_B or self.settings.eol == "mirror" else self.settings.eol
            self._output += EOLS[eol]
        line = Line(bytes(self._line), end, mirror, self._overlong, self._continued)
        self._clear()
        return line
