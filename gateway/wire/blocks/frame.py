"""number, data <-> frame: one block of XMODEM, with a checksum or CRC-16/XMODEM.

    SOH or STX, number, 255 - number, 128 or 1,024 bytes, then their sum modulo 256 or CRC (high byte first)

As the published description of XMODEM and YMODEM has it (Forsberg, 1988; from memory). The CRC is the one
of `wire/checks.py`.
"""

import binascii
from dataclasses import dataclass
from enum import Enum
from typing import Final

SOH, STX, EOT, ACK, BS, NAK, CAN, SUB = 0x01, 0x02, 0x04, 0x06, 0x08, 0x15, 0x18, 0x1A

ASK_CRC: Final = ord("C")
"""What a receiver asks for blocks with: CRC with this, a checksum with NAK."""

SIZES: Final = {SOH: 128, STX: 1024}
"""What a frame begins with -> bytes of its data."""

HEAD: Final = 3
CANCEL: Final = bytes([CAN]) * 8 + bytes([BS]) * 8
"""Two in a row give up; more survive noise, and a prompt rubs out what it shows of them (common practice)."""


class Fault(Enum):
    """Why a frame is none."""

    GARBLED = "garbled"
    SEVEN_BITS = "seven bits"  # the number and its complement agree but for bit 7


@dataclass(frozen=True, slots=True)
class Frame:
    """One block as it came."""

    number: int
    data: bytes


def length(start: int, *, crc: bool) -> int:
    """Bytes of a whole frame that begins with `start`, SOH or STX."""
    return HEAD + SIZES[start] + (2 if crc else 1)


def check(data: bytes, *, crc: bool) -> bytes:
    """What stands behind the data."""
    return binascii.crc_hqx(data, 0).to_bytes(2, "big") if crc else bytes([sum(data) & 0xFF])


def build(number: int, data: bytes, *, crc: bool) -> bytes:
    """The frame of 1 to 1,024 bytes, filled up with SUB to 128 or 1,024; `number` counts on past 255."""
    start = SOH if len(data) <= SIZES[SOH] else STX
    number &= 0xFF
    filled = data.ljust(SIZES[start], bytes([SUB]))
    return bytes([start, number, 0xFF - number]) + filled + check(filled, crc=crc)


def read(frame: bytes, *, crc: bool) -> Frame | Fault:
    """What a frame of the right length holds."""
    number, complement = frame[1], frame[2]
    if number + complement != 0xFF:
        seven = (number & 0x7F) + (complement & 0x7F) == 0x7F
        return Fault.SEVEN_BITS if seven else Fault.GARBLED
    end = HEAD + SIZES[frame[0]]
    data = frame[HEAD:end]
    return Frame(number, data) if check(data, crc=crc) == frame[end:] else Fault.GARBLED
