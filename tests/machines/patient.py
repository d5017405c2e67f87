"""a program that polls -> what it needs for a byte and for a line by itself, in the processor's cycles.

It runs on a UART that never makes it wait and never overruns: a byte is there when the one before has been
read, and what is written is gone at once. So the cycles between two reads are the program's own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean, median

from tests.machines.uart import Uart


class Patient(Uart):
    """The device."""

    def _advance(self, cycle: int) -> None:
        if self._writing:
            byte, self._writing = self._writing[1], None
            self._out(cycle * self.line.rate, byte)
        if self._coming and not self._full:
            self._holding, self._full = self._coming.popleft()[1], True
            self.received += 1


@dataclass(frozen=True, slots=True)
class Work:
    """Cycles: for a byte; on top of that after the end of a reply's status line, and of a record."""

    byte: int
    status: int
    record: int


def work(uart: Patient, reads: Sequence[int], before: int = 0) -> Work:
    """From the cycles at which bytes were read; `before` are the lines that came before the reply."""
    each = iter(reads)
    lines = [[next(each) for _ in line] for line, _, _ in uart.lines][before:]
    byte = round(median(after - earlier for line in lines for earlier, after in pairwise(line)))
    between = [after[0] - earlier[-1] - byte for earlier, after in pairwise(lines)]
    return Work(byte, between[0], round(mean(between[1:])))
