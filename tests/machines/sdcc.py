"""a C program's text -> the bytes that sdcc makes of it for the emulated Z80, its start included."""

import subprocess
from pathlib import Path

from intelhex import IntelHex  # type: ignore[import-untyped]

from tests.machines.z80_machine import DATA, LOADED, SCREEN, STATE

_ROOM = 32  # bytes for START
_RAM = 0xC000

# What the C program's own place for "your machine" asks for: ports, and a character out.
CHANNEL = f"""\
__sfr __at {STATE} STATUS;
__sfr __at {DATA} DATA;
__sfr __at {SCREEN} SCREEN;
#define CAN_GET (STATUS & 1)
#define CAN_PUT (STATUS & 2)
#define GET() DATA
#define PUT(c) (DATA = (c))
#define OPEN()
static void show(char c)
{{
  SCREEN = c == '\\n' ? 13 : c;
}}
#define SHOW(c) show(c)
#define LOOKS 2000
"""

# What comes before main: static variables get their values, and main returns to who called.
START = f"""\
        .module start
        .globl  _main
        .globl  l__INITIALIZER
        .globl  s__INITIALIZED
        .globl  s__INITIALIZER
        .area   _HEADER (ABS)
        .org    {LOADED}
        ld      bc, #l__INITIALIZER
        ld      a, b
        or      a, c
        jp      z, _main
        ld      de, #s__INITIALIZED
        ld      hl, #s__INITIALIZER
        ldir
        jp      _main
        .area   _HOME
        .area   _CODE
        .area   _INITIALIZER
        .area   _GSINIT
        .area   _GSFINAL
        .area   _DATA
        .area   _INITIALIZED
        .area   _BSEG
        .area   _BSS
        .area   _HEAP
"""


def compiled(text: str, folder: Path) -> bytes:
    """What sdcc makes of a program; any warning is a mistake."""
    (folder / "program.c").write_text(text, "ascii")
    (folder / "channel.h").write_text(CHANNEL, "ascii")
    (folder / "start.s").write_text(START, "ascii")

    def run(*command: str) -> None:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    run("sdasz80", "-o", "start.rel", "start.s")
    run("sdcc", "-mz80", "--std-c89", "--Werror", '-DCHANNEL="channel.h"', "-c", "program.c")
    places = ("--code-loc", str(LOADED + _ROOM), "--data-loc", str(_RAM))
    # The first file is where the linker takes the order of the areas from.
    run("sdcc", "-mz80", "--no-std-crt0", *places, "start.rel", "program.rel", "-o", "program.ihx")
    image = IntelHex(str(folder / "program.ihx"))
    assert image.minaddr() == LOADED
    return bytes(image.tobinarray())
