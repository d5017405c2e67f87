"""bytes -> what negotiation they are: telnet's commands and where one stands in them (RFC 854 and 855).

The reader asks byte by byte (`lines.py`); `has_cancel` and `last_outside` look ahead without reading.
Nothing is ever agreed to, so refusals need no memory (RFC 1143).
"""

import re
from enum import Enum
from typing import Final

from adapters import limits

SE, EC, EL, SB, WILL, WONT, DO, DONT, IAC = 240, 247, 248, 250, 251, 252, 253, 254, 255


class Telnet(Enum):
    """Where in a command the next byte stands."""

    DATA = 0
    COMMAND = 1  # after IAC
    OPTION = 2  # after IAC WILL, WONT, DO or DONT
    BLOCK = 3  # between IAC SB and IAC SE
    BLOCK_COMMAND = 4  # after IAC inside such a block


class Meaning(Enum):
    """What a byte after IAC turned out to be."""

    NOTHING = 0  # part of a command that is of no concern, or not the end of one yet
    ERASE_CHARACTER = 1
    ERASE_LINE = 2
    IAC = 3  # FFh as data, doubled
    BOTH = 4  # no command: the FFh before it was data, and so is this byte


class Negotiation:
    """One client's commands. Refusals are appended to `output`; `spoken`: it has spoken telnet."""

    def __init__(self, output: bytearray) -> None:
        self.state = Telnet.DATA
        self.spoken = False
        self._verb = 0
        self._output = output

    def copied(self, output: bytearray) -> "Negotiation":
        """The same from here on, with refusals that go elsewhere."""
        other = Negotiation(output)
        other.state, other.spoken, other._verb = self.state, self.spoken, self._verb
        return other

    def begin(self) -> None:
        """An IAC came where data stood."""
        self.state = Telnet.COMMAND

    def take(self, byte: int) -> Meaning:
        """One byte where `state` is not DATA."""
        state, self.state = self.state, Telnet.DATA
        if state is Telnet.COMMAND:
            return self._command(byte)
        self.spoken = True
        if state is Telnet.OPTION:
            if self._verb in {WILL, DO}:
                self._output += bytes((IAC, DONT if self._verb == WILL else WONT, byte))
        elif state is Telnet.BLOCK:
            self.state = Telnet.BLOCK_COMMAND if byte == IAC else Telnet.BLOCK
        elif byte != SE:
            self.state = Telnet.BLOCK
        return Meaning.NOTHING

    def _command(self, byte: int) -> Meaning:
        if byte in {WILL, WONT, DO, DONT}:
            self.state, self._verb = Telnet.OPTION, byte
        elif byte == SB:
            self.state = Telnet.BLOCK
        elif byte == IAC:
            return Meaning.IAC
        elif byte < SE:
            return Meaning.BOTH
        return {EC: Meaning.ERASE_CHARACTER, EL: Meaning.ERASE_LINE}.get(byte, Meaning.NOTHING)

    def strip(self, pending: bytearray, position: int, room: int, data: bytearray) -> int:
        """Add to `data` up to `room` bytes of `pending` from `position` on, commands taken out; the position
        after. It stops early where many bytes were commands.
        """
        for _ in range(limits.READER_STEPS):
            if position >= len(pending) or len(data) >= room:
                break
            byte = pending[position]
            if self.state is Telnet.DATA:
                most = position + room - len(data)
                end = pending.find(IAC, position, most)
                data += pending[position : end if end >= 0 else most]
                if end >= 0:
                    self.state = Telnet.COMMAND
                position = end + 1 if end >= 0 else min(most, len(pending))
            elif self.state is Telnet.COMMAND and (byte == IAC or byte < SE):
                self.state = Telnet.DATA
                data.append(IAC)  # doubled, or before what is no command
                position += byte == IAC
            else:
                self.take(byte)
                position += 1
        return position


_BLOCK: Final = b"\xff\xfa"
_BEGUN: Final = {
    Telnet.DATA: b"",
    Telnet.COMMAND: b"\xff",
    Telnet.OPTION: b"\xff\xfb",
    Telnet.BLOCK: _BLOCK,
    Telnet.BLOCK_COMMAND: b"\xff\xfa\xff",
}  # bytes that lead there
_COMMAND: Final = re.compile(
    rb"(\xff?\x18)|\xff\xfa|(?:\xff(?:[\xfb-\xfe].|[^\x18\xfa-\xfe])){1,64}+", re.DOTALL
)  # a CAN, which FFh as data may stand before; the beginning of a block; or some of what else IAC begins
_COMMANDS: Final = re.compile(
    rb"\xff(?:\xfa(?:[^\xff]|\xff[^\xf0])*+(?:\xff\xf0|\xff?\Z)|[\xfb-\xfe].?|[\xf0-\xf9\xff])", re.DOTALL
)  # each one whole, or as much of it as has come; FFh is data before anything else
_BLOCK_END: Final = re.compile(rb"(?<!\xff)(?:\xff\xff)*+\xff\xf0")  # doubled, IAC is data of the block


def has_cancel(data: bytes | bytearray, state: Telnet) -> bool:
    """Whether a CAN (18h) stands in `data` outside telnet's commands; `state`: that of its first byte."""
    data = _BEGUN[state] + data
    position = 0
    while (found := _COMMAND.search(data, position)) is not None:
        if found[1] is not None:
            return True
        position = found.end()
        if found[0] == _BLOCK:
            end = _BLOCK_END.search(data, position)
            if end is None:
                return False
            position = end.end()
    return False


def last_outside(data: bytes | bytearray, state: Telnet | None, marks: bytes) -> int | None:
    """The last of `marks` that stands in `data` outside telnet's commands, if any does.

    `state`: where in a command the first byte stands; None where telnet is not spoken. No mark is an IAC.
    """
    if state is not None and (state is not Telnet.DATA or IAC in data):
        data = _COMMANDS.sub(b"", _BEGUN[state] + data)
    position, last = max((data.rfind(mark), mark) for mark in marks)
    return last if position >= 0 else None
