"""Byte on a noisy line -> what a UART makes of it.

Of each character count the start bit, the data bits, the parity bit and the first stop bit, which is all
that a UART looks at (common practice). A wrong start bit: the character is not seen and is lost; that the
UART could take a later bit of it for a start bit is left out, and so are false starts while the line is
idle. A wrong stop bit: the byte comes with a framing error. Wrong data bits change the byte; parity finds an
odd number of wrong bits, and the byte comes with a parity error. What the program does with such a marked
byte is its own affair: here it takes it.
"""

import math
import random

from gateway.serial.framing import Framing, Parity
from gateway.serial.way import Noise


class NoisyLine:
    """Draws which bits are wrong, in the order sent; the same seed draws the same bits."""

    def __init__(self, noise: Noise, framing: Framing) -> None:
        self._draw = random.Random(noise.seed).random  # noqa: S311 - noise is no secret
        self._logarithm = math.log1p(-noise.rate) if noise.rate else 0.0
        self._data_bits = framing.data_bits
        self._parity = framing.parity
        self._bits = 2 + framing.data_bits + (framing.parity is not Parity.NONE)
        self._right = self._run()

    def hear(self, byte: int) -> tuple[int | None, bool]:
        """The byte as the shift register has it, or None where none comes; and whether it is marked."""
        if self._right >= self._bits:
            self._right -= self._bits
            return byte, False
        wrong, position = set(), 0
        while self._right < self._bits - position:
            position += self._right
            wrong.add(position)
            position += 1
            self._right = self._run()
        self._right -= self._bits - position
        if 0 in wrong:
            return None, False
        flips = [each - 1 for each in wrong if 1 <= each <= self._data_bits]  # bit 0 goes first
        for each in flips:
            byte ^= 1 << each
        parity = self._data_bits + 1 in wrong and self._parity is not Parity.NONE
        framing = self._bits - 1 in wrong
        if self._parity in {Parity.EVEN, Parity.ODD}:
            parity = (len(flips) + parity) % 2 == 1
        return byte, parity or framing

    def _run(self) -> int:
        """Right bits before the next wrong one: geometric, so that each bit is wrong on its own."""
        if not self._logarithm:
            return 1 << 62
        return int(math.log(1.0 - self._draw()) / self._logarithm)
