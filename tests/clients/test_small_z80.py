"""The smallest Z80 client, demo_site/clients/tides-z80.asm, run against the gateway; and what it costs."""

import shutil
from pathlib import Path

import pytest

from gateway.wire.settings import Settings
from tests.clients.listings import shapes
from tests.clients.listings.runs import far_end
from tests.clients.programs import CLIENTS, asking
from tests.machines.patient import Patient, work
from tests.machines.uart import Far, Line, Uart
from tests.machines.z80_machine import CLOCK, Machine, assemble

pytestmark = pytest.mark.skipif(
    shutil.which("pasmo") is None, reason="PASMO IS MISSING: Z80 client not run (apt-get install pasmo)"
)
NAME = "tides-z80.asm"
TIDES = [" ".join(value for _, value in record) for record in shapes.tides()]


@pytest.mark.parametrize("rate", [300, 9600, 19200])
def test_prints_the_tides(gateway_port: int, tmp_path: Path, rate: int) -> None:
    code = assemble((CLIENTS / NAME).read_text("ascii"), tmp_path)
    with far_end(gateway_port, Settings()) as far:
        uart = Uart(Line(rate), CLOCK, far)
        assert shown(Machine(code, uart)) == TIDES
    assert uart.lost == []


def test_prints_an_error(gateway_port: int, tmp_path: Path) -> None:
    code = assemble(asking(NAME, "ASK TIDES NOWHERE"), tmp_path)
    with far_end(gateway_port, Settings()) as far:
        (printed,) = shown(Machine(code, Uart(Line(), CLOCK, far)))
    assert printed.startswith("?STATION is one of")


class Counted:
    """Answers with so many records."""

    def __init__(self, count: int) -> None:
        self._count = count

    def reply(self, line: bytes) -> list[bytes]:
        assert line == b"ASK TIDES MOLE"
        width = 4 if self._count else 0
        records = [f"{number:04}\r\n".encode("ascii") for number in range(self._count)]
        return [f"200 {self._count:05} {width:03} ..\r\n".encode("ascii"), *records]


@pytest.mark.parametrize("count", [0, 1, 9, 10, 11, 100, 1000, 1001])
def test_counts_records_in_five_digits(tmp_path: Path, count: int) -> None:
    far: Far = Counted(count)
    code = assemble((CLIENTS / NAME).read_text("ascii"), tmp_path)
    printed = shown(Machine(code, Patient(Line(), CLOCK, far)))
    assert printed == [f"{number:04}" for number in range(count)]


def test_what_it_costs(tmp_path: Path) -> None:
    # The figures that tests/bench/bench_clients_z80.py prints.
    code = assemble((CLIENTS / NAME).read_text("ascii"), tmp_path)
    assert len(code) <= 83
    assert code.endswith(b"ASK TIDES MOLE\r")
    uart = Patient(Line(), CLOCK, Counted(8))
    machine = Machine(code, uart)
    before = bytes(machine.processor.memory)
    machine.run()
    assert work(uart, machine.reads).byte <= 63
    written = [at for at, byte in enumerate(machine.processor.memory) if byte != before[at]]
    room = range(machine.start + len(code), machine.start + len(code) + 18)
    assert set(written) <= set(room)


def test_fits_forty_columns() -> None:
    lines = (CLIENTS / NAME).read_text("ascii").splitlines()
    assert max(map(len, lines)) <= 40


def shown(machine: Machine) -> list[str]:
    """Its lines; it sends a line's CR and LF to the screen as they came."""
    machine.run()
    assert machine.printed.endswith("\n\n") or not machine.printed
    return machine.printed.replace("\n\n", "\n").splitlines()
