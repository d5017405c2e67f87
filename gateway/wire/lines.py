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
from dataclasses import dataclass, field
from enum import Enum
from typing import Final

from adapters import limits
from gateway.wire.charsets import SEVEN_BITS, line_form
from gateway.wire.editing import TypedLine
from gateway.wire.settings import Settings
from gateway.wire.telnet import IAC, Meaning, Negotiation, Telnet, has_cancel, last_outside

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
    of a data line whose beginning came as `Data`; nothing stands before it. `data` has ASCII's codes, and
    `sent` is what came instead, byte for byte, in the charset's.
    """

    data: bytes
    end: End
    mirror: str
    overlong: bool = False
    continued: bool = False
    sent: bytes = field(default=b"", compare=False)


@dataclass(frozen=True, slots=True)
class Data:
    """Bytes of a transfer: raw ones where `counted`, else a part of a data line, its prompt and `>` off;
    `sent` is as in `Line`, with prompt and `>`.
    """

    data: bytes
    counted: bool = False
    sent: bytes = field(default=b"", compare=False)


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
_FLOW: Final = bytes((XON, XOFF, CAN))
_FLOW_SEVEN: Final = bytes((XON, XOFF, XON | 0x80, XOFF | 0x80))
_RAW_LOOKS: Final = 8  # goes through raw bytes to look behind them; all that are read ahead take five


class LineReader:
    """The sans-I/O reader of one connection. Assign its settings and limits between events."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self._pending = bytearray()
        self._counted: int | None = None  # raw bytes still to come
        self._swallow: frozenset[int] = frozenset()
        self._ended: int | None = None  # the byte that just ended a line, until the next one comes
        self._followers: Mapping[int, frozenset[int]] = {}  # what this client sent after such a byte
        self._cr_mirror = "crlf"
        self._output = bytearray()
        self._negotiation = Negotiation(self._output)
        self._typed = TypedLine(self._output)
        self._candidates = 0  # bytes pending that may be CAN
        self._cancel: bool | None = False  # whether one of them is; None: not known
        self._held = False  # what the client's flow control said last
        self._flow_known = True  # whether all bytes pending have been looked at for that

    def reconnected(self) -> "LineReader":
        """A reader for the same client's next line: its settings and habits, and none of its bytes."""
        reader = LineReader(self.settings)
        reader._followers, reader._cr_mirror = self._followers, self._cr_mirror
        reader._negotiation.spoken = self.negotiated
        return reader

    @property
    def negotiated(self) -> bool:
        """Whether the client has spoken telnet."""
        return self._negotiation.spoken

    @property
    def line_limit(self) -> int:
        """Bytes that a line may have before its end."""
        return self._typed.limit

    @line_limit.setter
    def line_limit(self, limit: int) -> None:
        self._typed.limit = limit

    @property
    def data_lines(self) -> bool:
        """Whether a line that begins with `>` may have any length, and comes in pieces."""
        return self._typed.data_lines

    @data_lines.setter
    def data_lines(self, data_lines: bool) -> None:
        self._typed.data_lines = data_lines

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
        self._flow_known = False

    def expect(self, count: int) -> None:
        """The next `count` bytes are raw. `Data` gives them as they come, once at least, even for none.

        A LF or NUL after the CR that ended the last line belongs to it if this client's earlier lines ended
        so, or if there were none: raw bytes may begin with the same byte, and nothing else tells them apart.
        """
        self._counted = count
        if count and self._ended is not None:
            self._swallow &= self._followers.get(self._ended, self._swallow)
        self._cancel = None

    def after_end(self, data: bytes) -> bytes:
        """What is left of bytes that are not fed, the rest of the last line's end taken off."""
        if data and self._swallow:
            first = data[0] & 0x7F if self.settings.bits == 7 else data[0]
            data = data[first in self._swallow :]
            self._swallow, self._ended = frozenset(), None
        return data

    def take_waiting(self) -> bytes:
        """The bytes fed and not yet looked at, for a stream; the reader has them no longer."""
        data = self.after_end(bytes(self._pending))
        self._consume(len(self._pending))
        self._cancel = False
        return data

    def discard(self) -> None:
        """Forget the bytes fed and not yet looked at."""
        if self._pending:
            self._swallow, self._ended = frozenset(), None
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

    @property
    def held(self) -> bool:
        """Whether a client with flow control asks to be sent nothing for now: 13h came, and neither 11h nor
        CAN since. It holds as soon as it has been fed, but not inside telnet's commands or raw bytes.
        """
        if self.settings.flow != "xon":
            self._held = False
        elif not self._flow_known:
            pending, state = self._behind_raw()
            if self.settings.bits == 7:
                pending = pending.translate(SEVEN_BITS)
            plain = self.settings.bits == 7 or self.settings.telnet == "off"
            last = last_outside(pending, None if plain else state, _FLOW)
            self._held = self._held if last is None else last == XOFF
            self._flow_known = True
        return self._held

    def drop_flow(self) -> None:
        """Forget the 11h and 13h pending: all that they are is what `held` has made of them. Where raw bytes
        or telnet's commands are pending, which may hold the same bytes, nothing is forgotten.
        """
        held, seven, state = self.held, self.settings.bits == 7, self._negotiation.state
        if self._counted is None and state is Telnet.DATA and (seven or IAC not in self._pending):
            self._pending[:] = self._pending.translate(None, _FLOW_SEVEN if seven else _FLOW[:2])
            self._pending += bytes((XOFF,)) * held  # which came after any CAN that is still pending

    def release(self) -> None:
        """Whatever the client asked for, it waits no longer."""
        self._held, self._flow_known = False, True

    def _find_cancel(self) -> bool:
        """Only raw bytes and negotiation can hold a CAN that is none: the rest need not be walked through.

        A CAN behind raw bytes that are full of negotiation may be seen only when it is reached.
        """
        pending, state = self._behind_raw()
        if self.settings.bits == 7:
            return CAN in pending or CAN | 0x80 in pending
        if self.settings.telnet == "off" or CAN not in pending:
            return CAN in pending
        return has_cancel(pending, state)

    def _behind_raw(self) -> tuple[bytearray, Telnet]:
        """The bytes pending behind the raw ones expected, and where in telnet's commands they begin."""
        if self._counted is None:
            return self._pending, self._negotiation.state
        ahead = copy.copy(self)
        ahead._pending, ahead._output = self._pending.copy(), bytearray()
        ahead._negotiation = self._negotiation.copied(ahead._output)
        for _ in range(_RAW_LOOKS):
            if ahead._counted is None or ahead._raw(ahead._counted) is None:
                break
        return (ahead._pending if ahead._counted is None else bytearray()), ahead._negotiation.state

    def next_event(self) -> Event | None:
        """The next line, data, CAN or pause, or None until more bytes come."""
        if self._counted is not None:
            return self._raw(self._counted)
        if self._held or self.settings.flow == "xon":
            _ = self.held  # before what it goes by is consumed
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
            if not seven and not self._swallow and self._negotiation.state is Telnet.DATA:
                run = _ORDINARY.match(pending, position, position + self._typed.room)
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
            position = self._negotiation.strip(pending, position, room, data)
        else:
            data += pending[position : position + room]
            position += len(data)
        self._consume(position)
        if count and not data:
            return Pause() if pending else None
        self._counted = count - len(data) or None
        return Data(bytes(data.translate(SEVEN_BITS) if seven else data), counted=True)

    def _take(self, byte: int) -> Event | None:
        if self._negotiation.state is not Telnet.DATA:
            return self._negotiate(byte)
        if byte == IAC and self.settings.telnet != "off":
            self._negotiation.begin()
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
            self._typed.clear()
            return Cancel()
        if byte in {BS, DEL}:
            self._typed.rub_out(self.settings, self.negotiated)
            return None
        return self._type(bytes((byte,)))

    def _negotiate(self, byte: int) -> Event | None:
        """One byte after IAC."""
        meaning = self._negotiation.take(byte)
        if meaning is Meaning.ERASE_CHARACTER:
            self._typed.rub_out(self.settings, self.negotiated)
        elif meaning is Meaning.ERASE_LINE:
            self._typed.erase()
        elif meaning is Meaning.IAC:
            return self._character(IAC)
        elif meaning is Meaning.BOTH:
            self._character(IAC)
            return self._character(byte)
        return None

    def _type(self, data: bytes) -> Data | None:
        part = self._typed.type(data, self.settings, self._negotiation.spoken)
        return None if part is None else Data(part[0], sent=part[1])

    def _end(self, end: End, mirror: str) -> Line:
        if self.settings.echo:
            eol = mirror if end is End.NINE_B or self.settings.eol == "mirror" else self.settings.eol
            self._output += EOLS[eol]
        typed, sent = self._typed, bytes(self._typed.line)
        data = line_form(sent, self.settings.charset)
        line = Line(data, end, mirror, typed.overlong, typed.continued, sent)
        typed.clear()
        return line
