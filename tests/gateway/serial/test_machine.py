"""What a machine may be, and what its times mean, by hand."""

from dataclasses import replace

import pytest

from adapters.errors import WrongWords
from gateway.serial.framing import Framing, cycles
from gateway.serial.machine import Machine, Receiver, XonXoff
from gateway.serial.simulation import simulate
from gateway.serial.way import Way
from gateway.wire.settings import Settings

INTERRUPT = Receiver.INTERRUPT
CR = Settings(eol="cr")


def test_marks_up_to_the_whole_buffer_are_right() -> None:
    assert Machine(INTERRUPT, buffer_bytes=16, xon=XonXoff(16, 0)).xon == XonXoff(16, 0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"uart_bytes": 0}, "UART"),
        ({"buffer_bytes": 0}, "buffer"),
        ({"byte_seconds": -1}, "work"),
        ({"record_seconds": 61}, "work"),
        ({"service_seconds": 1e9}, "work"),
        ({"status_seconds": 61}, "work"),
        ({"look_seconds": -1}, "work"),
        ({"notice_seconds": 2, "byte_seconds": 1}, "cannot be longer"),
        ({"receiver": INTERRUPT, "look_seconds": 1}, "polled"),
        ({"receiver": INTERRUPT, "byte_seconds": 2, "notice_seconds": 1}, "polled"),
        ({"xon": XonXoff(96, 32)}, "polled"),
        ({"receiver": INTERRUPT, "xon": XonXoff(129, 32)}, "XOFF"),
        ({"receiver": INTERRUPT, "xon": XonXoff(32, 32)}, "below"),
        ({"receiver": INTERRUPT, "xon": XonXoff(32, -1)}, "below"),
        ({"receiver": INTERRUPT, "xon": XonXoff(32, 1, -1)}, "XOFF"),
    ],
)
def test_machines_that_make_no_sense_are_refused(arguments: dict[str, int], words: str) -> None:
    with pytest.raises(WrongWords, match=words):
        Machine(**arguments)  # type: ignore[arg-type]


@pytest.mark.parametrize(("look", "notice", "first"), [(0, 0, 1002), (9, 8, 994), (10, 3, 992)])
def test_a_waiting_loop_loses_a_byte_sooner(look: int, notice: int, first: int) -> None:
    """Characters of 1,000 cycles, each of which needs 1,001: it is late by a cycle more each time.

    Byte m (from 0) is in at 1000(m + 1), and loses itself if byte m - 1 is taken later than that. Without a
    loop that one is taken at 1000 + 1001(m - 1): from m = 1002 on too late. With turns of 9 and 8 cycles from
    the look to the taking, byte 0 is taken at 1008, the first multiple of 9 that is not before 1000 + 8, and
    all others 8 later too, since they are there when it looks: m = 994. With 10 and 3 it is 1010: m = 992.
    """
    machine = Machine(byte_seconds=cycles(1_001), look_seconds=cycles(look), notice_seconds=cycles(notice))
    run = simulate(Way(Framing(10_000), machine, CR), [bytes(1_500) + b"\r"])
    assert run.losses[0].index == first


def test_the_status_line_has_its_own_time() -> None:
    """Two characters, and the work on the second; a record's where nothing else is said."""
    framing = Framing(9_600)
    machine = Machine(byte_seconds=cycles(100), record_seconds=cycles(800))
    own = replace(machine, status_seconds=cycles(300))
    for receiver, late in ((Receiver.POLLED, 0), (Receiver.INTERRUPT, 100)):  # the routine before the program
        served = replace(own, receiver=receiver, service_seconds=cycles(late))
        way = Way(framing, served, CR)
        assert simulate(way, [b"A\r"]).finished == 2 * framing.seconds + cycles(100 + 300 + late)
        both = simulate(way, [b"A\r", b"B\r"])
        assert both.finished == 4 * framing.seconds + cycles(100 + 800 + late)
        plain = replace(way, machine=replace(served, status_seconds=None))
        assert simulate(plain, [b"A\r"]).finished == 2 * framing.seconds + cycles(100 + 800 + late)
