"""What a client costs on a Z80: bytes of code, RAM, T-states a byte; run by hand.

    python -m tests.bench.bench_clients_z80

Programs are assembled by pasmo or compiled by sdcc, and run on the emulated processor (tests/machines),
against eight made-up records of 19 columns. Code includes texts sent and names shown; RAM is
the bytes that change. The screen is one OUT: a machine whose screen is a routine adds what that takes. The
last column is the highest usual rate at which no byte is lost with a clock of 3.5 MHz.
"""

import tempfile
from contextlib import suppress
from pathlib import Path

from gateway.extract.plan import Kind
from gateway.listings.assembly.z80 import Z80
from gateway.listings.c89 import C89
from gateway.listings.program import Column, Task
from gateway.wire.checks import digits
from gateway.wire.settings import Settings, change
from tests.clients.programs import CLIENTS
from tests.machines.far import ENDS
from tests.machines.patient import Patient, work
from tests.machines.sdcc import compiled
from tests.machines.uart import Line, Uart
from tests.machines.z80_machine import CLOCK, Machine, Stuck, assemble

RATES = (300, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
RECORD = "12:34 HIGH  -1.25 1"
RECORDS = 8
SETUPS = ("", "eol=cr window=1", "eol=cr window=1 check=sum", "eol=cr window=1 check=crc")


class Made:
    """Answers ASK with eight records, other requests with none, an empty line with the next window's."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._left: list[bytes] = []

    def reply(self, line: bytes) -> list[bytes]:
        """What comes until the gateway waits."""
        if line:
            asked = line.upper().startswith(b"ASK")
            count = RECORDS if asked else 0
            width = len(RECORD) + self._settings.added if asked else 0
            texts = [f"200 {count:05} {width:03} ..", *[RECORD] * count]
            self._left = [self._line(each) for each in texts]
        window = self._settings.window or len(self._left)
        lines, self._left = self._left[:window], self._left[window:]
        return lines

    def _line(self, text: str) -> bytes:
        data = text.encode("ascii")
        kind = self._settings.check
        check = digits(data, kind).encode("ascii") if kind != "none" else b""
        return data + check + ENDS[self._settings.eol]


def task(setup: str) -> Task:
    """A program like the smallest one's, with settings."""
    pairs = (word.partition("=") for word in setup.split())
    settings = change(Settings(), [(key, value) for key, _, value in pairs])
    columns = (
        Column("TIME", 1, 5, Kind.TIME),
        Column("TIDE", 7, 4, Kind.TEXT),
        Column("METRES", 12, 6, Kind.FIXED),
        Column("SPRING", 19, 1, Kind.FLAG),
    )
    width = len(RECORD) + settings.added
    asked = f"SET {setup}" if setup else ""
    return Task("TIDES", "High and low water", (("station", "MOLE"),), columns, width, asked, settings)


def measured(code: bytes, settings: Settings, before: int) -> tuple[int, int, int, int]:
    """Bytes of RAM that change (stack too), T-states for a byte and for a record beside, the highest rate."""
    uart = Patient(Line(), CLOCK, Made(settings))
    machine = Machine(code, uart)
    image = bytes(machine.processor.memory)
    machine.run()
    needs = work(uart, machine.reads, before)
    changed = sum(now != then for now, then in zip(machine.processor.memory, image, strict=True))
    best = 0
    for rate in RATES:
        timed = Uart(Line(rate), CLOCK, Made(settings))
        with suppress(Stuck):  # waiting for what was lost
            Machine(code, timed).run(CLOCK * 60)
        if timed.lost:
            break
        best = rate
    return changed, needs.byte, needs.record, best


def main() -> None:
    """Print the table."""
    print(f"{'program':40} {'code':>5} {'RAM':>5} {'T/byte':>7} {'T/record':>9} {'bits/s':>7}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        small = assemble((CLIENTS / "tides-z80.asm").read_text("ascii"), folder)
        programs = [("tides-z80.asm, the smallest", small, "")]
        programs += [(f"z80 {each}", assemble(Z80().write(task(each)), folder), each) for each in SETUPS]
        programs += [(f"c89 {each}", compiled(C89().write(task(each)), folder), each) for each in SETUPS]
        for title, code, setup in programs:
            ram, byte, record, rate = measured(code, task(setup).settings, before=1 if setup else 0)
            print(f"{title:40} {len(code):5} {ram:5} {byte:7} {record:9} {rate:7}")


if __name__ == "__main__":
    main()
