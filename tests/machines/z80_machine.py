"""a Z80 program's bytes -> what it printed, on the package `z80` with a UART and a screen at three ports.

The program is started like a subroutine, at its first byte; its last RET ends the run. The T-states are the
package's, which follow the manufacturer's tables; there are no wait states and no interrupts. A port is
accessed in the last machine cycle of IN and OUT; the UART is told the T-state that the package has then.
"""

import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from z80 import Z80Machine

from tests.machines.uart import Uart

CLOCK: Final = 3_500_000
"""T-states a second."""
STATE: Final = 0x10
DATA: Final = 0x11
SCREEN: Final = 0x12
LOADED: Final = 0x8000
_BACK: Final = 0x0100  # where the program's last RET goes
_STACK: Final = 0x7FF0
_MOST: Final = 4_000_000_000  # T-states: what the package counts down from
_BREAKPOINT: Final = 1 << 0
_LIMIT: Final = 1 << 2


class Stuck(Exception):
    """The program ran longer than it may."""


@dataclass
class Machine:
    """A run. `code` is loaded at `start`."""

    code: bytes
    uart: Uart
    start: int = LOADED
    printed: str = ""
    reads: list[int] = field(default_factory=list)  # T-states at which the data register was read
    shown: list[int] = field(default_factory=list)  # T-states at which a character went to the screen

    def __post_init__(self) -> None:
        self.processor = processor = Z80Machine()
        processor.set_memory_block(self.start, self.code)
        processor.set_input_callback(self._get)
        processor.set_output_callback(self._put)
        processor.pc, processor.sp = self.start, _STACK
        processor.set_memory_block(_STACK, _BACK.to_bytes(2, "little"))
        processor.set_breakpoint(_BACK)
        self._most = 0

    @property
    def cycles(self) -> int:
        """T-states since the start."""
        return self._most - self.processor.ticks_to_stop

    def run(self, most: int = 400_000_000) -> list[str]:
        """The lines printed up to the program's last RET. Raises Stuck after `most` T-states."""
        assert most <= _MOST
        self._most = self.processor.ticks_to_stop = most
        while not (events := self.processor.run()) & _BREAKPOINT:
            if events & _LIMIT:
                raise Stuck(f"at {self.processor.pc:04X}h after {most} T-states; printed {self.printed!r}")
        return self.printed.splitlines()

    def _get(self, port: int) -> int:
        if port & 0xFF == STATE:
            return self.uart.status(self.cycles)
        assert port & 0xFF == DATA, f"IN from port {port & 0xFF:02X}h"
        self.reads.append(self.cycles)
        return self.uart.read(self.cycles)

    def _put(self, port: int, value: int) -> None:
        if port & 0xFF == DATA:
            self.uart.write(self.cycles, value)
            return
        assert port & 0xFF == SCREEN, f"OUT to port {port & 0xFF:02X}h"
        self.shown.append(self.cycles)
        self.printed += "\n" if value == 13 else chr(value)


def assemble(text: str, folder: Path, *options: str) -> bytes:
    """What pasmo makes of a source. Raises AssertionError with what it says to a mistake."""
    (folder / "program.asm").write_text(text, "ascii")
    command = ["pasmo", "--bin", *options, "program.asm", "program.bin"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return (folder / "program.bin").read_bytes()
