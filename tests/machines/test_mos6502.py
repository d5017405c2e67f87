"""What is passed by of a program's loops, against the same program run turn by turn on py65."""

from itertools import product

import pytest

from tests.machines.mos6502 import LOADED, Machine
from tests.machines.test_uart import MHZ, Script
from tests.machines.uart import Line, Uart

_COUNT = 0x80  # where the wait with a limit counts, two bytes


def ran(code: bytes, far: Script, start: int, *, skip: bool, line: Line) -> Machine:
    machine = Machine(code, Uart(line, MHZ, far), start, skip=skip)
    machine.run()
    return machine


def same(code: bytes, far: Script, start: int, line: Line) -> Machine:
    plain, skipped = (ran(code, far, start, skip=skip, line=line) for skip in (False, True))
    assert plain.skipped == 0
    assert (plain.cycles, plain.reads, plain.ram) == (skipped.cycles, skipped.reads, skipped.ram)
    assert list(plain.memory) == list(skipped.memory)
    states = [(each.a, each.x, each.y, each.p, each.sp) for each in (plain.processor, skipped.processor)]
    assert states[0] == states[1]
    return skipped


@pytest.mark.parametrize(("load", "down"), [(0xA0, 0x88), (0xA2, 0xCA)], ids=["dey", "dex"])
def test_a_register_that_is_counted_down(load: int, down: int) -> None:
    """Within a page and across its end, where a branch takes a cycle more."""
    for turns, start in product((0, 1, 2, 3, 255), range(0x10F8, 0x1101)):
        code = bytes([load, turns, down, 0xD0, 0xFD, 0x60])
        assert (same(code, Script(), start, Line()).skipped > 0) is (turns != 1)


@pytest.mark.parametrize("start", [LOADED, 0x10F2, 0x10EF])
@pytest.mark.parametrize("begin", [0, 1, 0x7E, 0xFE, 0xFF])
@pytest.mark.parametrize("answer", [b"A", b""], ids=["answered", "in vain"])
def test_a_wait_with_a_limit(answer: bytes, begin: int, start: int) -> None:
    """An answer ends it, or its count of 256 times 8 turns does."""
    send = bytes([0xA9, 13, 0x8D, 0x01, 0xC0])
    first = bytes([0xA9, begin, 0x85, _COUNT, 0xA9, 0xF8, 0x85, _COUNT + 1])
    look = bytes([0xAD, 0x00, 0xC0, 0x29, 0x01, 0xD0, 10])
    count = bytes([0xEE, _COUNT, 0, 0xD0, 0xF4, 0xEE, _COUNT + 1, 0, 0xD0, 0xEF])
    take = bytes([0xAD, 0x01, 0xC0, 0x60])
    far = Script(answer) if answer else Script()
    machine = same(send + first + look + count + take, far, start, Line(2400))
    assert machine.skipped > machine.cycles / 2
    assert (machine.memory[_COUNT + 1] == 0) is not bool(answer)
