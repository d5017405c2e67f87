"""Bytes delivered by the line, in ticks -> taken, lost, line ends and flow characters, in the order of time.

Ticks are whole numbers, so that times add up exactly. A receiver is told of deliveries in order and advanced
to a moment; it deals with all that happens up to that moment, or up to the first signal (a line end done
with, or a 13h or 11h). machine.py says how a receiver behaves.
"""

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gateway.serial.machine import Overrun
from gateway.serial.run import Where

NEVER: Final = 1 << 300  # ticks: later than anything

Arrival = tuple[int, int, int]
"""Ticks, the byte's number, its value."""


@dataclass(frozen=True, slots=True)
class Work:
    """A machine's traits in ticks, and how its program knows a line's end: by a byte, or by counting."""

    uart_bytes: int
    overrun: Overrun
    byte: int
    status: int
    record: int
    service: int
    buffer_bytes: int
    high: int  # beyond buffer_bytes: no flow characters
    low: int
    end: int | None  # the byte at which a line ends; None: by `lengths`
    lengths: Sequence[int]
    look: int = 0  # 0: it looks all the time
    notice: int = 0


class Receiver(ABC):
    """The UART, and what the program does with what it takes; who takes it from the UART differs."""

    def __init__(self, work: Work, trace: bool = False) -> None:
        self.work = work
        self.trace = trace
        self.pending: deque[Arrival] = deque()  # on their way to the UART
        self.uart: deque[Arrival] = deque()
        self.numbers: list[int] = []  # of the bytes that the program took
        self.received = bytearray()
        self.lost: list[tuple[int, int, Where]] = []  # ticks, the byte's number
        self.ends: list[tuple[int, int]] = []  # ticks when done, number of the line's last byte
        self.flow: list[tuple[int, bool]] = []  # ticks, whether it is 13h
        self.filling: list[tuple[int, int]] = []  # ticks, bytes that wait for the program
        self.largest = 0
        self.uart_largest = 0
        self.ready = 0  # when the program can take a byte again
        self._lines = 0
        self._count = 0

    @abstractmethod
    def advance(self, until: int, to_signal: bool = False) -> bool:
        """Deal with what happens up to `until`; with `to_signal` only to the first signal. True: one came."""

    def _arrive(self, arrival: Arrival) -> None:
        """From the shift register to the holding register or FIFO."""
        uart = self.uart
        if len(uart) == self.work.uart_bytes:
            if self.work.overrun is Overrun.NEW:
                self.lost.append((arrival[0], arrival[1], Where.UART))
                return
            self.lost.append((arrival[0], uart.pop()[1], Where.UART))
        uart.append(arrival)
        self.uart_largest = max(self.uart_largest, len(uart))

    def _receive(self, at: int, arrival: Arrival) -> bool:
        """The program takes a byte and works on it until `ready`; whether it ends a line."""
        value = arrival[2]
        self.numbers.append(arrival[1])
        self.received.append(value)
        if not self._ends_line(value):
            self.ready = at + self.work.byte
            return False
        self.ready = at + self.work.byte + (self.work.record if self._lines else self.work.status)
        self._lines += 1
        return True

    def _ends_line(self, value: int) -> bool:
        if self.work.end is not None:
            return value == self.work.end
        self._count += 1
        lengths = self.work.lengths
        if self._count < lengths[min(self._lines, len(lengths) - 1)]:
            return False
        self._count = 0
        return True


class Polled(Receiver):
    """The program takes each byte from the UART by itself."""

    def __init__(self, work: Work, trace: bool = False) -> None:
        super().__init__(work, trace)
        self._since = 0  # when there was something in the UART for a look to see

    def advance(self, until: int, to_signal: bool = False) -> bool:
        """As Receiver.advance."""
        pending, uart = self.pending, self.uart
        while True:
            at = self._seen() if uart else NEVER
            if pending and pending[0][0] < at:  # at the same moment the program goes first
                if pending[0][0] > until:
                    return False
                arrival = pending.popleft()
                if not uart:  # what waits longer than for one take was there for the next look in any case
                    self._since = arrival[0]
                self._arrive(arrival)
                self._filled(arrival[0])
                continue
            if at > until or at == NEVER:
                return False
            arrival = uart.popleft()
            ends = self._receive(at, arrival)
            self._filled(at)
            if ends:
                self.ends.append((self.ready, arrival[1]))
                if to_signal:
                    return True

    def _seen(self) -> int:
        """When what is in the UART is taken: after the first look that sees it."""
        ready, look = self.ready, self.work.look
        late = self._since + self.work.notice - ready
        if late <= 0:
            return ready
        return ready + (-(-late // look) * look if look else late)

    def _filled(self, at: int) -> None:
        self.largest = self.uart_largest
        if self.trace:
            self.filling.append((at, len(self.uart)))


class Interrupt(Receiver):
    """A routine brings bytes to the buffer; the program takes them from there in the time that is left."""

    def __init__(self, work: Work, trace: bool = False) -> None:
        super().__init__(work, trace)
        self.buffer: deque[Arrival] = deque()
        self._service_ends = NEVER
        self._busy = False
        self._ending: int | None = None  # the number of the line end that the program works on
        self._paused = False

    def advance(self, until: int, to_signal: bool = False) -> bool:
        """As Receiver.advance."""
        pending, signals = self.pending, len(self.ends) + len(self.flow)
        while True:
            service = self._service_ends
            program = self.ready if self._busy and service == NEVER else NEVER
            delivery = pending[0][0] if pending else NEVER
            at = min(program, service, delivery)
            if at > until or at == NEVER:
                return False
            if at == program:
                self._done(at)
            elif at == service:
                self._served(at)
            else:
                self._arrive(pending.popleft())
                if service == NEVER:
                    self._serve(at)
            if to_signal and len(self.ends) + len(self.flow) > signals:
                return True

    def _serve(self, at: int) -> None:
        """The routine begins; the program's work ends so much later."""
        self._service_ends = at + self.work.service
        if self._busy:
            self.ready += self.work.service

    def _served(self, at: int) -> None:
        arrival = self.uart.popleft()
        if len(self.buffer) == self.work.buffer_bytes:
            self.lost.append((at, arrival[1], Where.BUFFER))
        else:
            self.buffer.append(arrival)
            self._filled(at)
        self._service_ends = NEVER
        if self.uart:
            self._serve(at)
        elif not self._busy and self.buffer:
            self._take(at)

    def _filled(self, at: int) -> None:
        size = len(self.buffer)
        self.largest = max(self.largest, size)
        if self.trace:
            self.filling.append((at, size))
        if self._paused and size <= self.work.low:
            self._paused = False
            self.flow.append((at, False))
        elif not self._paused and size >= self.work.high:
            self._paused = True
            self.flow.append((at, True))

    def _take(self, at: int) -> None:
        arrival = self.buffer.popleft()
        self._filled(at)
        self._busy = True
        if self._receive(at, arrival):
            self._ending = arrival[1]

    def _done(self, at: int) -> None:
        self._busy = False
        if self._ending is not None:
            self.ends.append((at, self._ending))
            self._ending = None
        if self.buffer:
            self._take(at)
