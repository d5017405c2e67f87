"""What one simulated reply came to."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction


class Where(Enum):
    """Where a byte was lost."""

    LINE = "line"  # its start bit was wrong
    UART = "UART"
    BUFFER = "buffer"


@dataclass(frozen=True, slots=True)
class Loss:
    """One lost byte: its number from 0, its line (0: status line, then the records), its column from 1.

    Columns beyond the record's width are the line end. `seconds`: when it was lost.
    """

    index: int
    line: int
    column: int
    where: Where
    seconds: Fraction


@dataclass(frozen=True, slots=True)
class Run:
    """One reply's way. Times in seconds from the moment at which the gateway has the reply.

    sent == intact + garbled + len(losses); unsent bytes were held back for ever, because the program waits
    for a line end that was lost. `garbled` bytes arrived with another value, or marked by the UART, or both;
    `marked` of them are marked. `finished`: when the program was done with the last record's work, None
    where it never is. `ended`: when the last thing happened. `filling`: (seconds, bytes) at each change of
    what waits for the program, if it was asked for: in the buffer, or, of a polled receiver, in the UART.
    """

    sent: int
    unsent: int
    intact: int
    garbled: int
    marked: int
    losses: Sequence[Loss]
    received: bytes
    finished: Fraction | None
    ended: Fraction
    busy: Fraction  # seconds in which the line carried characters
    largest: int  # most bytes that waited for the program at one time
    uart_largest: int
    filling: Sequence[tuple[Fraction, int]] = ()

    @property
    def lossless(self) -> bool:
        """Whether every byte came and the program is done with all of it."""
        return not self.losses and not self.unsent and self.finished is not None

    @property
    def load(self) -> float:
        """The part of the reply's time in which the line was busy, 0 to 1."""
        whole = self.finished or self.ended
        return min(float(self.busy / whole), 1.0) if whole else 0.0
