"""bytes on a serial line + a processor's clock -> what a receiver with one holding register gets, or loses.

The model, exactly, so that a simulator can be held against it:

- Time is the processor's clock. It is counted in *ticks* of 1 / (clock * rate) second, so that a cycle
  (`rate` ticks) and a bit (`clock` ticks) are both whole. Only turnaround, pace and gap are rounded, to a
  tick.
- A character takes `bits` bit times (8N1: start, 8 data, stop: 10; common practice). It *arrives* at the
  end of its stop bit, all at once.
- Receiver: a shift register and one holding register. A byte that arrives while the holding register is
  full is lost: the holding register keeps the older byte, and the overrun flag is set. Reading the data
  register empties the holding register and clears the overrun flag. Reading it empty gives the last byte
  again.
- An access at cycle c sees every byte whose arrival tick is <= c * rate. A byte that arrives at the very
  instant at which the data register is read full finds it empty: who needs exactly the time there is loses
  nothing.
- An instruction's access happens at the cycle at which the instruction *starts*.
- Transmitter: one register. A write makes it busy for one character time; the byte is sent whole at the
  end of that. Writing while it is busy is a mistake of the program and raises Busy.
- Status bits (this machine's own): 1 receive-ready, 2 transmit-ready, 4 overrun.
- The far end (`Far`) is asked once for each line that has been sent (CR, LF or CR LF ends it), when the
  last bit of its end is out. Simulated time stands still meanwhile. The gateway hands the reply's first
  byte to the line `turnaround` seconds after that instant; each byte 1 / `pace` seconds after the one
  before (pace 0: at once), and `gap` milliseconds later after the last byte of each line. A byte's start
  bit begins when it has been handed over and the byte before is out, so a gap shorter than a line's own
  time changes nothing.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

RECEIVE_READY: Final = 1
TRANSMIT_READY: Final = 2
OVERRUN: Final = 4
CR: Final = 0x0D
LF: Final = 0x0A


class Busy(Exception):
    """The program wrote a byte before the transmitter was ready for it."""


class Far(Protocol):
    """What is at the other end of the line."""

    def reply(self, line: bytes) -> Sequence[bytes]:
        """The lines that answer one line of the program's, each with its end; none is no answer.

        `line` is without its end.
        """
        ...


@dataclass(frozen=True, slots=True)
class Line:
    """The wire. `rate`: bits a second; `turnaround`: seconds; `pace`: characters a second; `gap`: ms."""

    rate: int = 9600
    bits: int = 10
    turnaround: float = 0.005
    pace: int = 0
    gap: int = 0


@dataclass(frozen=True, slots=True)
class Lost:
    """A byte that overran: its place among all that came (from 0), itself, and the tick of its arrival."""

    place: int
    byte: int
    tick: int


class Uart:
    """The device. `clock` is the processor's, in cycles a second; methods take the cycle of the access."""

    def __init__(self, line: Line, clock: int, far: Far) -> None:
        self.line = line
        self.clock = clock
        self.lost: list[Lost] = []
        self.received = 0  # bytes that arrived so far, lost ones too
        self.sent = bytearray()  # all that the program wrote
        self.lines: list[tuple[bytes, int, int]] = []  # line of a reply, ticks of its first and last arrival
        self._far = far
        self._character = line.bits * clock  # ticks
        self._coming: deque[tuple[int, int]] = deque()  # arrival tick, byte
        self._free = 0  # the tick from which the way to the program is free
        self._leaving = 0  # when the gateway may hand over its next byte
        self._holding = 0
        self._full = False
        self._overrun = False
        self._typed = bytearray()
        self._after_cr = False
        self._writing: tuple[int, int] | None = None  # tick at which it is sent whole, byte

    @property
    def second(self) -> int:
        """Ticks in a second."""
        return self.clock * self.line.rate

    def status(self, cycle: int) -> int:
        """The status register."""
        self._advance(cycle * self.line.rate)
        return (
            (RECEIVE_READY if self._full else 0)
            | (0 if self._writing else TRANSMIT_READY)
            | (OVERRUN if self._overrun else 0)
        )

    def read(self, cycle: int) -> int:
        """The data register."""
        self._advance(cycle * self.line.rate - 1)
        if not self._full:
            self._advance(cycle * self.line.rate)
        self._full = self._overrun = False
        return self._holding

    def write(self, cycle: int, byte: int) -> None:
        """The data register. Raises Busy."""
        self._advance(cycle * self.line.rate)
        if self._writing:
            raise Busy(f"byte {byte:02X}h at cycle {cycle}")
        self.sent.append(byte)
        self._writing = (cycle * self.line.rate + self._character, byte)

    def change(self, cycle: int) -> int | None:
        """The first cycle after `cycle` at which a register may read differently; None: never by itself."""
        self._advance(cycle * self.line.rate)
        ticks = [self._coming[0][0]] if self._coming else []
        ticks += [self._writing[0]] if self._writing else []
        return -(-min(ticks) // self.line.rate) if ticks else None

    def _advance(self, now: int) -> None:
        if self._writing and self._writing[0] <= now:
            tick, byte = self._writing
            self._writing = None
            self._out(tick, byte)
        while self._coming and self._coming[0][0] <= now:
            tick, byte = self._coming.popleft()
            if self._full:
                self.lost.append(Lost(self.received, byte, tick))
                self._overrun = True
            else:
                self._holding, self._full = byte, True
            self.received += 1

    def _out(self, tick: int, byte: int) -> None:
        second_half = self._after_cr and byte == LF
        self._after_cr = byte == CR
        if second_half:
            return
        if byte not in {CR, LF}:
            self._typed.append(byte)
            return
        line = bytes(self._typed)
        self._typed.clear()
        second = self.second
        leaving = max(self._leaving, tick + round(self.line.turnaround * second))
        apart = -(-second // self.line.pace) if self.line.pace else 0
        for each in self._far.reply(line):
            arrivals = []
            for value in each:
                self._free = max(self._free, leaving) + self._character
                arrivals.append(self._free)
                self._coming.append((self._free, value))
                leaving += apart
            leaving += self.line.gap * second // 1000
            self.lines.append((each, arrivals[0], arrivals[-1]))
        self._leaving = leaving


class Brimming(Uart):
    """A line faster than any program: what was answered is there at once and waits; sending takes no time.

    For measuring: from one read of the data register to the next is what the program itself takes.
    """

    def __init__(self, clock: int, far: Far) -> None:
        super().__init__(Line(turnaround=0), clock, far)
        self._waiting: deque[int] = deque()

    def status(self, cycle: int) -> int:
        """The status register."""
        return TRANSMIT_READY | (RECEIVE_READY if self._waiting else 0)

    def read(self, cycle: int) -> int:
        """The data register."""
        self.received += 1
        return self._waiting.popleft()

    def write(self, cycle: int, byte: int) -> None:
        """The data register."""
        self.sent.append(byte)
        self._out(0, byte)
        self._waiting.extend(byte for _, byte in self._coming)
        self._coming.clear()

    def change(self, cycle: int) -> int | None:
        """Never by itself."""
        return None
