"""The smallest 6502 client, demo_site/clients/tides-6502.s, run against the gateway; and what it costs."""

from pathlib import Path

import pytest

from gateway.wire.settings import Settings
from tests.bench.bench_clients import cost_6502
from tests.clients.listings import shapes
from tests.clients.listings.runs import far_end
from tests.clients.listings.test_6502 import needs_assembler
from tests.clients.programs import CLIENTS, asking
from tests.machines.mos6502 import CLOCK, Machine, assemble
from tests.machines.uart import Line, Uart

pytestmark = needs_assembler
NAME = "tides-6502.s"
TIDES = [" ".join(value for _, value in record) for record in shapes.tides()]


def shown(machine: Machine) -> list[str]:
    """Its lines; it sends a line's CR and LF to the screen as they came."""
    return [line for line in machine.run() if line]


@pytest.mark.parametrize("rate", [300, 9600, 19200])
def test_prints_the_tides(gateway_port: int, tmp_path: Path, rate: int) -> None:
    code = assemble((CLIENTS / NAME).read_text("ascii"), tmp_path)
    with far_end(gateway_port, Settings()) as far:
        machine = Machine(code, Uart(Line(rate), CLOCK, far))
        assert shown(machine) == TIDES
    assert machine.uart.lost == []


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
        records = [f"{number:04}\r\n".encode("ascii") for number in range(self._count)]
        return [f"200 {self._count:05} {4 if self._count else 0:03} ..\r\n".encode("ascii"), *records]


@pytest.mark.parametrize("count", [0, 1, 9, 10, 11, 100, 1001])
def test_counts_records_in_five_digits(tmp_path: Path, count: int) -> None:
    code = assemble((CLIENTS / NAME).read_text("ascii"), tmp_path)
    machine = Machine(code, Uart(Line(), CLOCK, Counted(count)))
    assert shown(machine) == [f"{number:04}" for number in range(count)]
    assert machine.uart.lost == []


def test_what_it_costs(tmp_path: Path) -> None:
    """The aim is 128 bytes of code and 35 cycles a byte."""
    cost = cost_6502(tmp_path)
    assert cost.code <= 102
    assert cost.memory <= 18
    assert cost.cycles <= 29


def test_fits_forty_columns() -> None:
    assert max(map(len, (CLIENTS / NAME).read_text("ascii").splitlines())) <= 40
