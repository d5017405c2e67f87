"""Bits a second and the bits of a character -> seconds a character.

A character is a start bit, its data bits, a parity bit if there is one, and stop bits: 8N1 is 10 bits, so
that 9,600 bits a second is 960 characters a second. That is common practice for asynchronous lines. All
times here are fractions, so that nothing is rounded and what arrives exactly in time is in time.
"""

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import Final

from adapters import limits
from adapters.errors import WrongWords

Number = int | float | Fraction


def exact(value: Number) -> Fraction:
    """The number as it is written: 0.1 is one tenth."""
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


class Parity(Enum):
    """The bit after the data bits: none, making the ones even or odd, or always 1 (mark) or 0 (space)."""

    NONE = "none"
    EVEN = "even"
    ODD = "odd"
    MARK = "mark"
    SPACE = "space"


STOP_BITS: Final = (Fraction(1), Fraction(3, 2), Fraction(2))


@dataclass(frozen=True, slots=True)
class Framing:
    """How characters go over the line; the same both ways.

    WrongWords: bits a second, data bits or stop bits that no such line has.
    """

    baud: Number  # bits a second: each signal carries one bit
    data_bits: int = 8
    parity: Parity = Parity.NONE
    stop_bits: Number = 1

    def __post_init__(self) -> None:
        if not limits.SERIAL_BAUD_MIN <= self.baud <= limits.SERIAL_BAUD:
            low, high = limits.SERIAL_BAUD_MIN, limits.SERIAL_BAUD
            raise WrongWords(f"{low}-{high:,} bits a second")
        if self.data_bits not in {7, 8}:
            raise WrongWords("data bits are 7 or 8")
        if exact(self.stop_bits) not in STOP_BITS:
            raise WrongWords("stop bits are 1, 1.5 or 2")

    @property
    def bits(self) -> Fraction:
        """Bits a character, start and stop bits included."""
        return 1 + self.data_bits + (self.parity is not Parity.NONE) + exact(self.stop_bits)

    @property
    def seconds(self) -> Fraction:
        """Seconds a character."""
        return self.bits / exact(self.baud)

    @property
    def name(self) -> str:
        """Its usual short name, such as 8N1."""
        return f"{self.data_bits}{self.parity.name[0]}{float(self.stop_bits):g}"


def cycles(count: Number, mhz: Number = 1) -> Fraction:
    """Seconds that `count` cycles of a clock of `mhz` megahertz take."""
    return exact(count) / (exact(mhz) * 1_000_000)
