"""The UART's model, against arithmetic: 8N1 is 10 bits a character (common practice)."""

from collections.abc import Sequence
from fractions import Fraction

import pytest

from tests.machines.uart import OVERRUN, RECEIVE_READY, TRANSMIT_READY, Busy, Line, Uart

MHZ = 1_000_000


class Script:
    """A far end that answers every line with the same lines."""

    def __init__(self, *lines: bytes) -> None:
        self.asked: list[bytes] = []
        self._lines = lines

    def reply(self, line: bytes) -> Sequence[bytes]:
        self.asked.append(line)
        return self._lines


def asked(uart: Uart) -> int:
    """Send an empty line; the cycle at which its last bit is out."""
    uart.write(0, 13)
    gone = uart.change(0)
    assert gone is not None
    uart.status(gone)
    return gone


@pytest.mark.parametrize("rate", [300, 1200, 2400, 9600, 19200])
def test_bytes_come_a_character_apart_and_no_earlier(rate: int) -> None:
    uart = Uart(Line(rate, turnaround=0), MHZ, Script(b"ABC"))
    character = Fraction(10 * MHZ, rate)
    asked(uart)
    for place, byte in enumerate(b"ABC", 2):  # the request itself took one character
        first = -int(-place * character // 1)
        assert not uart.status(first - 1) & RECEIVE_READY
        assert uart.status(first) & RECEIVE_READY
        assert uart.read(first) == byte
    assert uart.lost == []
    assert uart.change(10 * MHZ) is None


def test_a_byte_not_taken_within_a_character_costs_the_next_one() -> None:
    uart = Uart(Line(1000, turnaround=0), MHZ, Script(b"ABCD"))  # a character is 10,000 cycles
    asked(uart)
    assert uart.status(30_000) == RECEIVE_READY | TRANSMIT_READY | OVERRUN
    assert [(lost.place, lost.byte) for lost in uart.lost] == [(1, ord("B"))]
    assert uart.read(39_999) == ord("A")
    assert uart.status(39_999) == TRANSMIT_READY
    assert uart.read(50_000) == ord("C")  # D arrives in this very instant, and finds room
    assert uart.read(50_000) == ord("D")
    assert [lost.place for lost in uart.lost] == [1]


def test_sending_takes_a_character_and_ends_a_line_once() -> None:
    far = Script()
    uart = Uart(Line(1000), MHZ, far)
    uart.write(0, ord("X"))
    assert uart.status(9_999) == 0
    with pytest.raises(Busy):
        uart.write(9_999, ord("Y"))
    for cycle, byte in ((10_000, 13), (20_000, 10), (30_000, 10)):
        uart.write(cycle, byte)
    uart.status(40_000)
    assert far.asked == [b"X", b""]


@pytest.mark.parametrize(
    ("line", "ticks"),
    [
        (Line(1000, turnaround=0), [20, 30, 40, 50]),
        (Line(1000, turnaround=0.005), [25, 35, 45, 55]),
        (Line(1000, turnaround=0, pace=50), [20, 40, 60, 80]),  # 20 ms from start to start
        (Line(1000, turnaround=0, pace=500), [20, 30, 40, 50]),  # no faster than the line
        (Line(1000, turnaround=0, gap=7), [20, 30, 40, 50]),  # over before the line is out
        (Line(1000, turnaround=0, gap=27), [20, 30, 47, 57]),
    ],
)
def test_turnaround_pace_and_gap(line: Line, ticks: list[int]) -> None:
    """Arrivals in milliseconds, by hand."""
    uart = Uart(line, 1000, Script(b"A\r", b"B\r"))  # a cycle is a millisecond
    asked(uart)
    found = []
    for cycle in range(100):
        if uart.status(cycle) & RECEIVE_READY:
            uart.read(cycle)
            found.append(cycle)
    assert found == ticks
    assert [each for each, _, _ in uart.lines] == [b"A\r", b"B\r"]
