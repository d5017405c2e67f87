"""Task -> its C program, compiled by cc65 for a bare 6502 with the test machine's start and putchar."""

import subprocess
from pathlib import Path

from gateway.listings.c89 import C89
from gateway.listings.program import Task
from tests.machines.mos6502 import CHROUT

# The compiler's stack pointer is set and main called; putchar is the machine's routine.
START = f"""
        .export __STARTUP__ : absolute = 1
        .export _putchar
        .import _main, zerobss, __STACKSTART__
        .importzp sp
        .segment "STARTUP"
        lda #<__STACKSTART__
        sta sp
        lda #>__STACKSTART__
        sta sp+1
        jsr zerobss
        jmp _main
_putchar:
        jmp ${CHROUT:04X}
"""


def compiled(asked: Task, folder: Path) -> bytes:
    """The program for a bare 6502. Warnings are errors."""
    (folder / "FILE.c").write_text(C89().write(asked), "ascii")
    (folder / "start.s").write_text(START, "ascii")
    for command in (
        ["cc65", "--standard", "c89", "-O", "-t", "none", "FILE.c"],
        ["ca65", "FILE.s"],
        ["ca65", "start.s"],
        ["ld65", "-t", "none", "-o", "FILE", "start.o", "FILE.o", "none.lib"],
    ):
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
    return (folder / "FILE").read_bytes()
