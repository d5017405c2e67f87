"""bytes -> what negotiation they are: telnet's commands and where one stands in them (RFC 854 and 855).

The reader takes them out byte by byte (`lines.py`); here is what looks ahead without reading.
"""

import re
from enum import Enum
from typing import Final

SE, EC, EL, SB, WILL, WONT, DO, DONT, IAC = 240, 247, 248, 250, 251, 252, 253, 254, 255


class Telnet(Enum):
    """Where in a command the next byte stands."""

    DATA = 0
    COMMAND = 1  # after IAC
    OPTION = 2  # after IAC WILL, WONT, DO or DONT
    BLOCK = 3  # between IAC SB and IAC SE
    BLOCK_COMMAND = 4  # after IAC inside such a block


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
