"""Way + a reply's lines -> Run: each byte from the gateway to the program, and what comes back, in time.

Exact: every time is a whole number of ticks, of which as many make a second as make all of them whole. Bytes
are followed in the order sent; the receiver is advanced only as far as what it sends back can matter for the
next.
"""

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from operator import itemgetter
from typing import Final

from adapters import limits
from adapters.errors import WrongWords
from gateway.serial.framing import exact
from gateway.serial.leaving import Leaving
from gateway.serial.machine import EndsAt
from gateway.serial.machine import Receiver as Kind
from gateway.serial.noise import NoisyLine
from gateway.serial.receivers import NEVER, Interrupt, Polled, Receiver, Work
from gateway.serial.reply import line_end_bytes
from gateway.serial.run import Loss, Run, Where
from gateway.serial.way import Way
from gateway.wire.pacing import CLOSER

_SOME: Final = 256  # bytes on their way before the receiver is advanced, where nothing comes back


def simulate(way: Way, lines: Sequence[bytes], trace: bool = False, stop_at_loss: bool = False) -> Run:
    """Send `lines`, ends included, the status line first; `trace` keeps the filling.

    `stop_at_loss` ends soon after the first lost byte: what the run then says is of that part alone.
    WrongWords: nothing to send, or more than is simulated.
    """
    if not 0 < sum(map(len, lines)) <= limits.SERIAL_REPLY_BYTES:
        raise WrongWords(f"1 to {limits.SERIAL_REPLY_BYTES:,} bytes can be simulated: fewer records")
    return _Simulation(way, lines, trace).run(stop_at_loss)


def _scale(way: Way) -> int:
    """Ticks a second that make every time whole."""
    machine, settings = way.machine, way.settings
    times = [
        way.framing.seconds,
        *map(exact, machine.work_seconds),
        exact(way.link.latency),
        exact(machine.xon.reaction_seconds if machine.xon else 0),
        Fraction(settings.gap, 1000),
        Fraction(1, settings.pace or 1) * CLOSER,
        Fraction(1, settings.pace or 1),
        exact(way.grain_seconds),
    ]
    return math.lcm(*(each.denominator for each in times))


def line_end(way: Way) -> int | None:
    """The byte at which the program takes a line as ended, or None where lines have no end and it counts."""
    end = line_end_bytes(way.settings)
    if not end:
        return None
    return end[0] if way.machine.ends_at is EndsAt.FIRST else end[-1]


@dataclass(slots=True)
class _Gate:
    """Who stops at 13h and goes on at 11h, which take `delay` ticks to get there."""

    receiver: Receiver
    delay: int
    seen: int = 0
    paused: bool = False

    def passes(self, at: int) -> int:
        """When a byte that is due at `at` may go: the program empties its buffer, so an 11h always comes."""
        receiver = self.receiver
        receiver.advance(at - self.delay)
        while True:
            flow = receiver.flow
            while self.seen < len(flow) and flow[self.seen][0] + self.delay <= at:
                self.paused = flow[self.seen][1]
                self.seen += 1
            if not self.paused:
                return at
            while self.seen == len(receiver.flow):
                if not receiver.advance(NEVER, to_signal=True):
                    # Better than a loop without an end.
                    raise AssertionError("never emptied")  # pragma: no cover — the program always goes on
            at = receiver.flow[self.seen][0] + self.delay


class _Simulation:
    def __init__(self, way: Way, lines: Sequence[bytes], trace: bool) -> None:
        self._way, self._scale = way, _scale(way)
        machine, settings, ticks = way.machine, way.settings, self._ticks
        mask = (1 << way.framing.data_bits) - 1
        self._lines = [bytes(each & mask for each in line) for line in lines]
        self._starts = list(accumulate((len(each) for each in lines), initial=0))
        self._character = ticks(way.framing.seconds)
        self._latency = ticks(way.link.latency)
        xon = machine.xon
        byte, record, status, service, look, notice = map(ticks, machine.work_seconds)
        work = Work(
            uart_bytes=machine.uart_bytes,
            overrun=machine.overrun,
            byte=byte,
            status=status,
            record=record,
            service=service,
            buffer_bytes=machine.buffer_bytes,
            high=xon.high if xon else machine.buffer_bytes + 1,
            low=xon.low if xon else -1,
            end=line_end(way),
            lengths=[len(each) for each in lines],
            look=look,
            notice=notice,
        )
        kind = Polled if machine.receiver is Kind.POLLED else Interrupt
        self._receiver = kind(work, trace)
        back = self._character + (ticks(xon.reaction_seconds) if xon else 0)
        self._gates = (
            _Gate(self._receiver, back + self._latency) if settings.flow == "xon" and xon else None,
            _Gate(self._receiver, back) if way.link.adapter_xon and xon else None,
        )
        self._noise = NoisyLine(way.noise, way.framing) if way.noise.rate else None
        self._marked: set[int] = set()
        self._unheard: list[tuple[int, int, Where]] = []
        self._sent = 0
        self._line_free = 0

    def _ticks(self, seconds: float | Fraction) -> int:
        ticks = exact(seconds) * self._scale
        assert ticks.denominator == 1
        return ticks.numerator

    def run(self, stop_at_loss: bool) -> Run:
        """Send it all, or up to the first loss, or until the program waits for ever."""
        receiver = self._receiver
        alone = not any(self._gates) and not self._way.settings.window
        for number in self._send():
            if alone and number % _SOME == 0:
                receiver.advance(self._line_free)  # whatever comes next is delivered later
            if stop_at_loss and (receiver.lost or self._unheard):
                break
        receiver.advance(NEVER)
        return self._result()

    def _send(self) -> Iterator[int]:
        """Put each byte on its way to the UART; gives its number."""
        settings, link, latency = self._way.settings, self._way.link, self._latency
        gateway, adapter = self._gates
        leaving = Leaving(settings, self._scale, self._ticks(self._way.grain_seconds))
        begun: deque[int] = deque(maxlen=link.adapter_bytes)  # when the latest bytes began on the line
        held = line_free = number = 0
        for count, line in enumerate(self._lines):
            if settings.window and count and count % settings.window == 0:
                held = max(held, self._acknowledged(count))
            for value in line:
                if len(begun) == link.adapter_bytes:
                    held = max(held, begun[0] + latency)
                at = leaving.when(held)
                if gateway is not None:
                    passed = gateway.passes(at)
                    if passed > at:
                        held = at = passed
                leaving.left(at, held)
                start = max(at + latency, line_free)
                if adapter is not None:
                    start = adapter.passes(start)
                if start >= NEVER:
                    return
                begun.append(start)
                line_free = start + self._character
                self._hear(number, value, line_free)
                number += 1
                self._sent, self._line_free = number, line_free
                yield number
            leaving.end_line()

    def _hear(self, number: int, value: int, at: int) -> None:
        """What becomes of a byte by the end of its last stop bit."""
        heard: int | None = value
        if self._noise is not None:
            heard, marked = self._noise.hear(value)
            if marked:
                self._marked.add(number)
        if heard is None:
            self._unheard.append((at, number, Where.LINE))
        else:
            self._receiver.pending.append((at, number, heard))

    def _acknowledged(self, lines: int) -> int:
        """When the empty line that follows the `lines`-th line reaches the gateway; NEVER if none comes."""
        receiver = self._receiver
        while len(receiver.ends) < lines:
            if not receiver.advance(NEVER, to_signal=True):
                return NEVER
        characters = max(1, len(line_end_bytes(self._way.settings)))
        return receiver.ends[lines - 1][0] + characters * self._character + self._latency

    def _result(self) -> Run:
        receiver, sent = self._receiver, b"".join(self._lines)
        whole = sum(
            sent[number] == value and number not in self._marked
            for number, value in zip(receiver.numbers, receiver.received, strict=True)
        )
        marked = len(self._marked.intersection(receiver.numbers))
        ended = max(self._line_free, receiver.ready, *(at for at, _, _ in receiver.lost[-1:]))
        return Run(
            sent=self._sent,
            unsent=len(sent) - self._sent,
            intact=whole,
            garbled=len(receiver.numbers) - whole,
            marked=marked,
            losses=[self._loss(*each) for each in sorted(self._unheard + receiver.lost, key=itemgetter(1))],
            received=bytes(receiver.received),
            finished=self._finished(),
            ended=Fraction(ended, self._scale),
            busy=Fraction(self._sent * self._character, self._scale),
            largest=receiver.largest,
            uart_largest=receiver.uart_largest,
            filling=[(Fraction(at, self._scale), size) for at, size in receiver.filling],
        )

    def _finished(self) -> Fraction | None:
        """When the last line's end was done with, if it came as what it is."""
        last = self._starts[-2]
        for at, number in reversed(self._receiver.ends):
            if number < last:
                break
            if self._way.settings.eol != "none" or len(self._receiver.ends) >= len(self._lines):
                return Fraction(at, self._scale)
        return None

    def _loss(self, at: int, number: int, where: Where) -> Loss:
        line = bisect_right(self._starts, number) - 1
        return Loss(number, line, number - self._starts[line] + 1, where, Fraction(at, self._scale))
