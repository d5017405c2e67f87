"""a program that waits for a byte -> the turn of its waiting loop, in the processor's cycles, as it runs."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from tests.machines.uart import Far, Line, Uart

QUICK: Final = Line(19200)
"""The first byte comes soon, and still after some turns."""


class Heard(Exception):
    """The first byte of the reply is being taken: enough is known."""


@dataclass(frozen=True, slots=True)
class Loop:
    """Cycles: from one look to the next, from the look that sees a byte to taking it.

    `answer`: from sending the request's last byte to when the reply's first could be taken.
    """

    look: int
    notice: int
    answer: int


class Watched(Uart):
    """The device. It raises Heard as the first byte is read that comes after `before` lines of the gateway's.

    The machine must not put its clock forward over waits.
    """

    def __init__(self, clock: int, far: Far, before: int, line: Line = QUICK) -> None:
        super().__init__(line, clock, far)
        self._before = before
        self._written = self._taken = 0
        self._looks: list[int] = []  # since the last byte was sent

    def status(self, cycle: int) -> int:
        """The status register."""
        self._looks.append(cycle)
        return super().status(cycle)

    def write(self, cycle: int, byte: int) -> None:
        """The data register. Raises Busy."""
        super().write(cycle, byte)
        self._written = cycle
        self._looks.clear()

    def read(self, cycle: int) -> int:
        """The data register. Raises Heard."""
        if len(self.lines) > self._before:
            self._taken = cycle
            raise Heard
        return super().read(cycle)

    def loop(self) -> Loop:
        """What was seen up to Heard."""
        looks = self._looks
        (look,) = {later - one for one, later in pairwise(looks)}
        notice = self._taken - looks[-1]
        return Loop(look, notice, looks[0] - self._written + notice)
