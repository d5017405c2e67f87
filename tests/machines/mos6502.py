"""a 6502 program's bytes -> what it printed, on py65 with a UART and a character-out routine.

The program is started like a subroutine, at its first byte; its last RTS ends the run. Character out is a
subroutine of the machine at CHROUT that takes the character in A and, being no part of the program, no
time but its RTS. The processor's cycles are py65's, which follow the manufacturer's tables, page crossings
included.

A program that polls a UART at 300 bits a second does nothing else for millions of cycles. A wait is
skipped where skipping cannot show: if the status register is read by the same instruction, with the same
registers and the same answer as at the read before, and no byte of memory changed and no other device was
touched in between, then the processor is in a loop whose state repeats. It goes on until the answer
changes, so the clock may be put forward by whole turns of the loop as long as the read falls before the
next instant at which the UART changes.

So are, by their form, two loops that only count: a register down to zero (`dey`, `bne` to itself), and the
turns of a wait with a limit (`lda STATUS`, `and #`, `bne`, `inc`, `bne`) until either changes its course.
"""

import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Final

from py65.devices.mpu6502 import MPU  # type: ignore[import-untyped]

from tests.machines.uart import Uart

CLOCK: Final = 1_000_000
"""Cycles a second."""
STATUS: Final = 0xC000
DATA: Final = 0xC001
CHROUT: Final = 0xF000
LOADED: Final = 0x1000
_BACK: Final = 0xFFF0  # where the program's last RTS goes
_RTS: Final = 0x60
_BNE: Final = 0xD0
_TO_ITSELF: Final = 0xFD  # a branch to the one byte before it
_LIMITED: Final = re.compile(rb"\xad\x00\xc0\x29(.)\xd0.\xee(..)\xd0\xf4", re.DOTALL)
"""A wait with a limit: its mask, and the address that counts."""


def assemble(text: str, folder: Path) -> bytes:
    """The program, as its own heading says to make it."""
    (folder / "FILE.s").write_text(text, "ascii")
    for command in (["ca65", "FILE.s"], ["ld65", "-t", "none", "-o", "FILE", "FILE.o"]):
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
    return (folder / "FILE").read_bytes()


class Stuck(Exception):
    """The program waits for what never comes, or ran longer than it may."""


class _Memory(list[int]):
    """64 KiB; tells whether a byte changed since it was last asked."""

    changed = False
    written: set[int]  # addresses whose byte changed
    device: Any

    def __setitem__(self, address: Any, value: Any) -> None:
        if address == DATA:
            self.device.put(value)
        elif self[address] != value:
            self.changed = True
            self.written.add(address)
            super().__setitem__(address, value)


def _undefined(processor: MPU) -> None:
    raise Stuck(f"no instruction {processor.memory[processor.pc - 1]:02X}h at {processor.pc - 1:04X}h")


class _Processor(MPU):  # type: ignore[misc]
    """py65's, with the device's registers in place and no undefined instructions."""

    device: Any

    def ByteAt(self, addr: int) -> int:
        value: int = self.device.get(addr) if addr & 0xFFFE == STATUS else self.memory[addr]
        return value

    instruct: ClassVar[list[Any]] = [
        _undefined if each is MPU.inst_not_implemented else each for each in MPU.instruct
    ]


def _counting_down(register: str, usual: Callable[[MPU], None]) -> Callable[[MPU], None]:
    """The instruction; where a branch back to it follows, all turns but the last are put into one."""

    def count(processor: MPU) -> None:
        memory, pc = processor.memory, processor.pc
        if memory[pc] == _BNE and memory[pc + 1] == _TO_ITSELF and processor.device.skip:
            turns = (getattr(processor, register) - 1) & 0xFF
            processor.device.pass_by(turns * (2 + _taken(pc + 2, pc - 1)))
            setattr(processor, register, 1)
        usual(processor)

    return count


def _taken(behind: int, target: int) -> int:
    """Cycles of a branch that is taken, between two addresses."""
    return 3 if behind & 0xFF00 == target & 0xFF00 else 4


for _code, _register in ((0x88, "y"), (0xCA, "x")):
    _Processor.instruct[_code] = _counting_down(_register, _Processor.instruct[_code])


@dataclass
class Machine:
    """A run. `code` is loaded at `start`; `skip` puts the clock forward over waits."""

    code: bytes
    uart: Uart
    start: int = LOADED
    skip: bool = True
    printed: str = ""
    reads: list[int] = field(default_factory=list)  # cycles at which a received byte was taken
    skipped: int = 0  # cycles

    def __post_init__(self) -> None:
        self.memory = _Memory([0] * 0x10000)
        for address, byte in enumerate(self.code, self.start):
            list.__setitem__(self.memory, address, byte)
        list.__setitem__(self.memory, CHROUT, _RTS)
        self.memory.device = self
        self.memory.written = set()
        self.processor = _Processor(self.memory, self.start)
        self.processor.device = self
        self.processor.stPushWord(_BACK - 1)
        self._before: tuple[int, ...] = ()
        self._at = 0

    @property
    def cycles(self) -> int:
        """Since the start."""
        return int(self.processor.processorCycles)

    @property
    def ram(self) -> int:
        """Bytes that the program changed, the stack's left out."""
        return len([address for address in self.memory.written if not 0x100 <= address < 0x200])

    @property
    def stack(self) -> int:
        """Bytes of the stack that it used, the caller's return address left out."""
        return len([address for address in self.memory.written if 0x100 <= address < 0x1FE])

    def run(self, most: int = 400_000_000) -> list[str]:
        """The lines printed up to the program's last RTS. Raises Stuck after `most` cycles."""
        processor = self.processor
        while processor.pc != _BACK:
            if processor.pc == CHROUT:
                self.printed += "\n" if processor.a == 13 else chr(processor.a)
                self._before = ()
            processor.step()
            if processor.processorCycles > most:
                raise Stuck(f"at {processor.pc:04X}h after {self.cycles} cycles; printed {self.printed!r}")
        return self.printed.splitlines()

    def get(self, address: int) -> int:
        """A device register is read."""
        if address == DATA:
            self._before = ()
            self.reads.append(self.cycles)
            return self.uart.read(self.cycles)
        value = self.uart.status(self.cycles)
        if self.skip:
            self._wait(value)
        return value

    def put(self, value: int) -> None:
        """The data register is written."""
        self._before = ()
        self.uart.write(self.cycles, value)

    def pass_by(self, cycles: int) -> None:
        """So many cycles in which nothing changes but what the caller changes."""
        self.processor.processorCycles += cycles
        self.skipped += cycles

    def _wait(self, value: int) -> None:
        processor = self.processor
        found = _LIMITED.match(bytes(self.memory[processor.pc - 1 : processor.pc + 11]))
        if found is not None:
            self._limited(value & found[1][0], int.from_bytes(found[2], "little"))
            return
        state = (processor.pc, processor.a, processor.x, processor.y, processor.p, processor.sp, value)
        if state == self._before and not self.memory.changed:
            turn = processor.processorCycles - self._at
            change = self.uart.change(processor.processorCycles)
            if change is None:
                raise Stuck(f"waits for ever at {processor.pc:04X}h; printed {self.printed!r}")
            self.pass_by(max(0, (change - 1 - processor.processorCycles) // turn) * turn)
        self._before, self._at = state, processor.processorCycles
        self.memory.changed = False

    def _limited(self, over: int, count: int) -> None:
        """A look of a wait with a limit; `count` holds the turns, and 0 ends them."""
        self._before = ()
        change = self.uart.change(self.cycles)
        start = self.processor.pc - 1
        turn = 4 + 2 + 2 + 6 + _taken(start + 12, start)
        turns = 0xFF - self.memory[count]
        if change is not None:
            turns = min(turns, (change - 1 - self.cycles) // turn)
        if not over and turns > 0 and count & 0xFFFE != STATUS:
            self.memory[count] += turns
            self.pass_by(turns * turn)
