"""What a client costs on a 6502, and in lines of BASIC; run by hand: python -m tests.bench.bench_clients

Assembled by ca65 and ld65, or compiled by cc65, and run under py65 (tests/machines) against eight made-up
records of 19 columns. Code includes the texts that are sent and the names that are shown; RAM is the bytes
that change, and beside them the stack's. Cycles are those between two reads of the UART that always has
the next byte; the screen's routine takes no time but its RTS. Bits/s is the highest usual rate at which no
byte is lost at 1 MHz. The Z80's figures: bench_clients_z80.
"""

import tempfile
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import mean, median

from gateway.listings.assembly.mos6502 import Mos6502
from gateway.wire.settings import Settings
from tests.bench.bench_clients_z80 import RATES, SETUPS, Made, task
from tests.clients.listings.compiling import compiled
from tests.clients.programs import CLIENTS
from tests.machines.mos6502 import CLOCK, Machine, Stuck, assemble
from tests.machines.uart import Brimming, Line, Uart

BASICS = ("tides-short.bas", "tides.bas", "tides-bwbasic.bas", "tides-yabasic.bas")


@dataclass(frozen=True, slots=True)
class Cost:
    """Bytes of code, memory and stack; cycles a byte, and a record more; bits a second without a loss."""

    code: int
    memory: int
    stack: int
    cycles: int
    record: int
    rate: int


def cost(code: bytes, settings: Settings, before: int) -> Cost:
    """What a program costs; `before` are the lines that come before the reply."""
    brimming = Brimming(CLOCK, Made(settings))
    machine = Machine(code, brimming)
    machine.run()
    each = iter(machine.reads)
    lines = [[next(each) for _ in line] for line, _, _ in brimming.lines][before:]
    byte = round(median(after - earlier for line in lines for earlier, after in pairwise(line)))
    record = round(mean(after[0] - earlier[-1] - byte for earlier, after in pairwise(lines[1:])))
    best = 0
    for rate in RATES:
        uart = Uart(Line(rate), CLOCK, Made(settings))
        try:
            Machine(code, uart).run()
        except Stuck:  # it lost a line's end
            break
        if uart.lost:
            break
        best = rate
    return Cost(len(code), machine.ram, machine.stack, byte, record, best)


def cost_6502(folder: Path) -> Cost:
    """The smallest client's."""
    return cost(assemble((CLIENTS / "tides-6502.s").read_text("ascii"), folder), Settings(), before=0)


def main() -> None:
    """Print the tables."""
    print(
        f"{'program':40} {'code':>5} {'RAM':>5} {'stack':>6} {'cycles/byte':>11} {'/record':>8} {'bits/s':>7}"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [("tides-6502.s, the smallest", cost_6502(folder))]
        for setup in SETUPS:
            asked = task(setup)
            before = 1 if setup else 0
            code = assemble(Mos6502().write(asked), folder)
            rows.append((f"generated {setup}".strip(), cost(code, asked.settings, before)))
        for setup in SETUPS:
            asked = task(setup)
            code = compiled(asked, folder)
            rows.append((f"C by cc65 {setup}".strip(), cost(code, asked.settings, 1 if setup else 0)))
        for title, row in rows:
            print(f"{title:40} {row.code:5} {row.memory:5} {row.stack:6} ", end="")
            print(f"{row.cycles:11} {row.record:8} {row.rate:7}")
    for program in BASICS:
        print(f"{program:40} {len((CLIENTS / program).read_text('ascii').splitlines())} lines of BASIC")


if __name__ == "__main__":
    main()
