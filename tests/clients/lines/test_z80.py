"""The simulator of the line against Z80 programs that run: the same bytes lost or none, time within 2 %.

What the simulator is told of a program is measured from the program (tests/machines/patient.py).
"""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import pytest

from gateway.commands.wiring import read_catalogue
from gateway.listings.assembly.z80 import Z80
from gateway.listings.program import task_of
from gateway.serial import machine as traits
from gateway.serial.framing import Framing, cycles
from gateway.serial.simulation import simulate
from gateway.serial.way import Way
from gateway.wire.settings import Settings
from tests.clients.listings.runs import far_end, settings_of
from tests.clients.programs import CLIENTS
from tests.machines.patient import Patient, Work, work
from tests.machines.uart import Line, Uart
from tests.machines.watched import Heard, Loop, Watched
from tests.machines.z80_machine import CLOCK, Machine, assemble

pytestmark = pytest.mark.skipif(
    shutil.which("pasmo") is None, reason="PASMO IS MISSING: Z80 programs not run (apt-get install pasmo)"
)
RATES = [300, 1200, 2400, 9600, 19200]
MHZ = Fraction(CLOCK, 1_000_000)
_WAIT = "NEXT:   LD DE,330\nWAIT:   DEC DE\n        LD A,D\n        OR E\n        JR NZ,WAIT\n"


@dataclass(frozen=True)
class Program:
    """One to run: its code, what settings it makes, how it knows a line's end, when it is done."""

    code: bytes
    settings: Settings
    ends_at: traits.EndsAt
    done: Callable[[Machine], int]  # the T-state at which the work on the last record is over
    port: int
    recovers: bool = False  # a generated one: SET comes first, and after a lost byte it asks again

    @contextmanager
    def run(self, line: Line, clock: int) -> Iterator[tuple[Machine, Uart]]:
        with far_end(self.port, self.settings) as far:
            uart = Uart(line, clock, far)
            machine = Machine(self.code, uart)
            machine.run(clock * 300)
            yield machine, uart

    def measured(self) -> Work:
        """What it needs by itself, in T-states."""
        with far_end(self.port, self.settings) as far:
            uart = Patient(Line(), CLOCK, far)
            machine = Machine(self.code, uart)
            machine.run()
            return work(uart, machine.reads, before=int(self.recovers))

    def loop(self) -> Loop:
        """What its waiting loop needs, in T-states."""
        with far_end(self.port, self.settings) as far:
            uart = Watched(CLOCK, far, before=int(self.recovers))
            with pytest.raises(Heard):
                Machine(self.code, uart).run()
            return uart.loop()


def before_end(machine: Machine) -> int:
    """When the last thing shown begins: END and a line end, four characters."""
    return machine.shown[-4]


@pytest.fixture
def small(gateway_port: int, tmp_path: Path) -> Program:
    """The smallest client: it stops at LF, and is done when it returns."""
    code = assemble((CLIENTS / "tides-z80.asm").read_text("ascii"), tmp_path)
    return Program(code, Settings(), traits.EndsAt.LAST, lambda machine: machine.cycles, gateway_port)


@pytest.fixture
def slow(gateway_port: int, tmp_path: Path) -> Program:
    """The same on a machine that takes 2.4 milliseconds before it can take the next line."""
    text = (CLIENTS / "tides-z80.asm").read_text("ascii")
    assert text.count("NEXT:   ") == 1
    code = assemble(text.replace("NEXT:   ", _WAIT + "        "), tmp_path)
    return Program(code, Settings(), traits.EndsAt.LAST, lambda machine: machine.cycles, gateway_port)


@pytest.fixture
def generated(gateway_config: Path, gateway_port: int, tmp_path: Path) -> Callable[[str, str], Program]:
    """The generated program for a source, with settings."""
    catalogue = read_catalogue(gateway_config)

    def make(words: str, setup: str) -> Program:
        name, *args = words.split()
        settings = settings_of(setup)
        task = task_of(catalogue.sources[name], f"SET {setup}", settings, tuple(args))
        code = assemble(Z80().write(task), tmp_path)
        return Program(code, settings, traits.EndsAt.LAST, before_end, gateway_port, recovers=True)

    return make


def compare(program: Program, rate: int, clock: int = CLOCK) -> bool:
    """Both ways; whether bytes were lost."""
    needs, loop = program.measured(), program.loop()
    mhz = Fraction(clock, 1_000_000)
    machine_traits = traits.Machine(
        byte_seconds=cycles(needs.byte, mhz),
        status_seconds=cycles(needs.status, mhz),
        record_seconds=cycles(needs.record, mhz),
        look_seconds=cycles(loop.look, mhz),
        notice_seconds=cycles(loop.notice, mhz),
        ends_at=program.ends_at,
    )
    way = Way(Framing(rate), machine_traits, program.settings)
    with program.run(Line(rate, turnaround=0), clock) as (machine, uart):
        reply = [(line, first) for line, first, _ in uart.lines]
        offset = 0
        if program.recovers:  # SET was answered first, by a status line
            offset = len(reply.pop(0)[0])
        lines = [line for line, _ in reply[: 1 + int(reply[0][0][4:9])]]
        start = Fraction(reply[0][1], uart.second) - Framing(rate).seconds
        lost = [each.place - offset for each in uart.lost]
        simulated = simulate(way, lines)
        if not lost:
            assert not simulated.losses
            assert simulated.finished is not None
            took = Fraction(program.done(machine), clock) - start
            assert abs(took / simulated.finished - 1) < 0.02
            return False
        # A program that recovers lets the rest go by after the first lost byte.
        losses = simulated.losses[:1] if program.recovers else simulated.losses
        assert [each.index for each in losses] == lost[: len(losses)]
        assert program.recovers or len(losses) == len(lost)
        for loss, each in zip(losses, uart.lost, strict=False):
            when = Fraction(each.tick, uart.second) - start
            assert abs(when / loss.seconds - 1) < 0.02
        return True


@pytest.mark.parametrize("rate", RATES)
def test_the_smallest_client(small: Program, rate: int) -> None:
    assert not compare(small, rate)


@pytest.mark.parametrize("rate", RATES)
def test_a_slow_machine(slow: Program, rate: int) -> None:
    # By hand: a character takes 10 bits (8N1, common practice), one waits in the holding register while the
    # next comes in; 2.4 ms are more than two characters at 9,600 bits a second (2.08 ms), not at 2,400 (8.3).
    assert compare(slow, rate) == (rate >= 9600)


@pytest.mark.parametrize("rate", RATES)
def test_a_generated_program(generated: Callable[[str, str], Program], rate: int) -> None:
    assert not compare(generated("TIDES MOLE", "eol=cr window=1"), rate)


@pytest.mark.parametrize("rate", RATES)
def test_a_generated_program_without_a_window(generated: Callable[[str, str], Program], rate: int) -> None:
    # It shows a record while the next one comes in: at 19,200 bits a second, 3.5 MHz are too slow for that.
    assert compare(generated("TIDES MOLE", "eol=cr"), rate) == (rate == 19_200)


@pytest.mark.parametrize("rate", RATES[1:])
def test_a_slow_clock(generated: Callable[[str, str], Program], rate: int) -> None:
    assert compare(generated("TIDES MOLE", "eol=crlf"), rate, clock=1_000_000) == (rate >= 9_600)


@pytest.mark.parametrize("rate", RATES[2:])
def test_wide_records(generated: Callable[[str, str], Program], rate: int) -> None:
    assert compare(generated("WIDE", "eol=cr"), rate) == (rate >= 9_600)


def test_measuring_is_right(small: Program) -> None:
    # By hand, from memory of the manufacturer's tables: IN A,(n) 11, RRCA 4, JR NC not taken 7, IN A,(n) 11,
    # OUT (n),A 11, CP n 7, JR NZ taken 12.
    needs = small.measured()
    assert needs.byte == 11 + 4 + 7 + 11 + 11 + 7 + 12
    # After LF the last jump is not taken, 7; then JR 12, LD HL,nn 10, LD A,(HL) 7, DEC (HL) 11, SUB n 7,
    # RET C not taken 5, JR NZ taken 12: eight records need no borrow.
    assert needs.record == 7 - 12 + 12 + 10 + 7 + 11 + 7 + 5 + 12
    # The status line's loop: IN A,(n), RRCA, JR NC taken. To the data: IN's port cycle begins after 4 + 3 and
    # has 4 left, RRCA 4, JR NC not taken 7, and INI's port cycle begins after 4 + 5.
    loop = small.loop()
    assert (loop.look, loop.notice) == (11 + 4 + 12, 4 + 4 + 7 + 9)
