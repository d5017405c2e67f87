"""The simulator of `headrace line`, held against a 6502 program that really runs under py65 on a real reply.

The simulator is told nothing but what the program's own loops were measured to take, on a line that always
has the next byte and on one that keeps it waiting, and what was sent. Where each byte is compared, it is also
told how long the reply kept the program waiting, to the cycle: from that depends which turn of its loop sees
the first byte, and so all the others.

HEADRACE_SWEEP=N in the environment runs N delays at each rate instead of the few that are run always.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from gateway.listings.assembly.mos6502 import Mos6502
from gateway.listings.program import Task
from gateway.serial.advice import SPARE, advise
from gateway.serial.framing import Framing, cycles, exact
from gateway.serial.machine import Machine as Receiving
from gateway.serial.reply import Shape
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Way
from gateway.wire.settings import Settings
from tests.clients.listings import shapes
from tests.clients.listings.runs import far_end, records, task
from tests.clients.listings.test_6502 import needs_assembler
from tests.machines.mos6502 import CLOCK, Machine, Stuck, assemble
from tests.machines.uart import Brimming, Line, Uart
from tests.machines.watched import Heard, Loop, Watched

pytestmark = needs_assembler
RATES = [300, 1200, 2400, 9600, 19200]
TURNAROUND = 0.005  # seconds
NEAR = Fraction(2, 100)  # of the time
SWEEP = int(os.environ.get("HEADRACE_SWEEP", "0"))

Edit = Callable[[str], str]


def as_written(text: str) -> str:
    return text


def _put(text: str, before: str, after: str) -> str:
    assert text.count(before) == 1, before
    return text.replace(before, after)


def slow_screen(turns: int) -> Edit:
    """Each character shown takes 5 cycles a turn more."""
    code = f"show:    ldy #{turns}\n@slow:   dey\n         bne @slow\n"

    def edit(text: str) -> str:
        text = _put(text, "         ldy keepy\n         rts\n", "         ldy keepy\n         jmp slowly\n")
        return text + f"         .code\nslowly:  sty keepy\n{code[9:]}         ldy keepy\n         rts\n"

    return edit


def _delay(rounds: int, turns: int) -> str:
    stores = ("rounds", rounds), ("turns", turns)
    return "".join(f"         lda #{value}\n         sta {name}\n" for name, value in stores)


def slow_bytes(wanted: int, count: int) -> Edit:
    """Each byte of the reply takes about `wanted` cycles more.

    Bytes of the status line are lost too then, so the program takes it that `count` records come.
    """
    rounds = 1 + wanted // 1250
    turns = max(1, (wanted // rounds - 14) // 5)
    fast, slow = _delay(1, 1), _delay(rounds, turns)
    loop = """         lda DATA
         pha
         lda rounds
         sta round
@round:  ldy turns
@turn:   dey
         bne @turn
         dec round
         bne @round
         pla
         rts
"""
    trust = f"""         .code
trust:   ldx #15
@known:  lda known,x
         sta buffer,x
         dex
         bpl @known
         rts
known:   .byte "200 {count:05} 000 .."
         .bss
rounds:  .res 1
turns:   .res 1
round:   .res 1
"""

    def edit(text: str) -> str:
        text = _put(text, "begin:   cld\n", f"begin:   cld\n{fast}")
        asked = f"page:\n{slow}         jsr status\n         jsr trust\n"
        text = _put(text, "page:    jsr status\n", asked)
        return _put(text, "         lda DATA\n         rts\n", loop) + trust

    return edit


@dataclass(frozen=True, slots=True)
class Measured:
    """Cycles: for each byte; after the end of the status line and of a record more; of the waiting loop."""

    byte: int
    status: int
    record: int
    loop: Loop


@dataclass(frozen=True, slots=True)
class Seen:
    """What a run showed.

    `taken`: cycles from the reply's first start bit, one for each byte that the program got; `lost`: places
    in the reply; `seconds`: from its first start bit.
    """

    taken: list[Fraction]
    lost: list[int]
    seconds: Fraction | None  # None: it waits for ever
    sent: Sequence[bytes]  # the reply, its status line first
    settings: Settings
    printed: list[str]


@dataclass(frozen=True, slots=True)
class Bench:
    """Runs one program on lines of all kinds."""

    config: Path
    port: int
    folder: Path

    def task(self, source: str, words: str, *args: str) -> Task:
        return task(self.config, source, words, *args)

    def measured(self, asked: Task, edit: Edit = as_written) -> Measured:
        code = self._code(asked, edit)
        with far_end(self.port, asked.settings) as far:
            machine = Machine(code, Brimming(CLOCK, far))
            machine.run()
            reads = iter(machine.reads)
            lines = [[next(reads) for _ in line] for line in far.told][1:]
        (byte,) = {later - one for line in lines for one, later in pairwise(line)}
        status, *between = [later[0] - one[-1] - byte for one, later in pairwise(lines)]
        (record,) = set(between[-5:])
        with far_end(self.port, asked.settings) as far:
            uart = Watched(CLOCK, far, before=1)  # the answer to SET
            with pytest.raises(Heard):
                Machine(code, uart, skip=False).run()
        return Measured(byte, status, record, uart.loop())

    def seen(self, asked: Task, line: Line, edit: Edit = as_written) -> Seen:
        with far_end(self.port, asked.settings) as far:
            machine = Machine(self._code(asked, edit), Uart(line, CLOCK, far))
            try:
                printed = machine.run()
                ended = True
            except Stuck:
                printed, ended = [], False
            uart = machine.uart
            start = uart.lines[1][1] - line.bits * CLOCK  # after the reply to SET
            before = len(far.told[0])
            places = [each.place - before for each in uart.lost]
            assert all(place >= 0 for place in places)
            taken = [each - Fraction(start, line.rate) for each in machine.reads[before:]]
            seconds = Fraction(machine.cycles * line.rate - start, uart.second)
            return Seen(taken, places, seconds if ended else None, far.told[1:], asked.settings, printed)

    def _code(self, asked: Task, edit: Edit) -> bytes:
        return assemble(edit(Mos6502().write(asked)), self.folder)


@pytest.fixture
def bench(gateway_config: Path, gateway_port: int, tmp_path: Path) -> Bench:
    return Bench(gateway_config, gateway_port, tmp_path)


def way(rate: int, measured: Measured, settings: Settings, turnaround: float | None = None) -> Way:
    """With `turnaround` the program's waiting begins when it did; else as the reply does."""
    machine = Receiving(
        byte_seconds=cycles(measured.byte),
        record_seconds=cycles(measured.record),
        status_seconds=cycles(measured.status),
        look_seconds=cycles(measured.loop.look),
        notice_seconds=cycles(measured.loop.notice),
    )
    framing = Framing(rate)
    if turnaround is None:
        return Way(framing, machine, settings)
    waited = framing.seconds + Fraction(str(turnaround)) - cycles(measured.loop.answer)
    return Way(framing, machine, settings, Link(latency=waited))


def compare(bench: Bench, asked: Task, rate: int, edit: Edit) -> tuple[list[Fraction], Seen]:
    """Both ways: the same bytes lost, and in the same time; when the simulated program takes its bytes."""
    measured = bench.measured(asked, edit)
    seen = bench.seen(asked, Line(rate, turnaround=TURNAROUND), edit)
    told = way(rate, measured, asked.settings, TURNAROUND)
    run = simulate(told, seen.sent, trace=True)
    assert [loss.index for loss in run.losses] == seen.lost, rate
    whole = run.received.count(b"\r") == len(seen.sent)
    assert whole == (seen.seconds is not None), rate  # who misses a line's end waits for one more line
    if seen.seconds is not None:
        assert run.finished is not None
        took = run.finished - exact(told.link.latency)
        assert abs(took - seen.seconds) <= NEAR * seen.seconds, rate
    taken = [(at - exact(told.link.latency)) * CLOCK for at, size in run.filling if size == 0]
    return taken, seen


CASES: list[tuple[str, str, tuple[str, ...], Edit]] = [
    ("as written", "TIDES", ("MOLE",), as_written),
    ("one field", "ONE", (), as_written),
    ("many fields", "MANY", (), as_written),
    ("slow screen", "TIDES", ("MOLE",), slow_screen(20)),
    ("very slow screen", "ONE", (), slow_screen(200)),
    ("slow bytes", "TIDES", ("MOLE",), slow_bytes(500, 8)),
    ("slow bytes, many fields", "MANY", (), slow_bytes(450, len(shapes.many()))),
]


@pytest.mark.parametrize(
    ("source", "args", "edit"), [each[1:] for each in CASES], ids=[each[0] for each in CASES]
)
def test_it_loses_the_same_bytes_in_the_same_time(
    bench: Bench, source: str, args: tuple[str, ...], edit: Edit
) -> None:
    asked = bench.task(source, "eol=cr", *args)
    for rate in RATES:
        compare(bench, asked, rate, edit)


def delays(rate: int, count: int) -> list[int]:
    """Cycles for a byte: around one and around two characters' time, and between."""
    character = 10 * CLOCK // rate
    return [character * (40 + 200 * step // count) // 100 for step in range(count)]


@pytest.mark.parametrize("rate", RATES)
def test_overloaded_by_each_byte_it_takes_the_same_bytes_at_the_same_cycles(bench: Bench, rate: int) -> None:
    asked = bench.task("TIDES", "eol=cr", "MOLE")
    same = 0
    few = 2 if rate < 1000 else 4
    for delay in delays(rate, SWEEP or few):
        taken, seen = compare(bench, asked, rate, slow_bytes(delay, len(shapes.tides())))
        assert taken == seen.taken, (rate, delay)
        same += len(seen.lost)
    assert same


def advised(bench: Bench, rate: int, edit: Edit, spare: float, *, loop: bool) -> dict[str, Seen]:
    """What each proposal came to; `loop`: the simulator is told the waiting loop. Empty: none is needed."""
    asked = bench.task("TIDES", "eol=cr", "MOLE")
    measured = bench.measured(asked, edit)
    told = way(rate, measured if loop else replace(measured, loop=Loop(0, 0, 0)), asked.settings)
    advice = advise(told, Shape(len(shapes.tides()), asked.width), spare)
    found = {}
    for proposal in {advice.window, advice.gap, advice.pace, advice.best} - {None}:
        assert proposal is not None
        words = proposal.words(asked.settings)
        better = bench.task("TIDES", f"eol=cr {words}", "MOLE")
        line = Line(rate, turnaround=0, pace=better.settings.pace, gap=better.settings.gap)
        found[words] = seen = bench.seen(better, line, edit)
        if seen.seconds is None:
            continue
        run = simulate(replace(told, settings=better.settings), seen.sent)
        assert run.finished is not None
        assert abs(run.finished - seen.seconds) <= NEAR * seen.seconds, words
    return found


ADVISED = [
    ("as written", as_written, 9600),
    ("as written, fast", as_written, 19200),
    ("slow screen", slow_screen(20), 9600),
    ("slow screen, fast", slow_screen(20), 19200),
    ("slow bytes", slow_bytes(416, 8), 9600),
    ("too slow bytes", slow_bytes(1100, 8), 9600),
    ("too slow bytes, fast", slow_bytes(900, 8), 19200),
]


@pytest.mark.parametrize("loop", [True, False], ids=["loop told", "loop left out"])
@pytest.mark.parametrize(("edit", "rate"), [each[1:] for each in ADVISED], ids=[each[0] for each in ADVISED])
def test_what_it_advises_loses_nothing(bench: Bench, edit: Edit, rate: int, loop: bool) -> None:
    """Each of window, gap and pace alone, as advised, and the best of all; in the time foretold."""
    asked = bench.task("TIDES", "eol=cr", "MOLE")
    assert bench.seen(asked, Line(rate), edit).lost != []
    runs = advised(bench, rate, edit, SPARE, loop=loop)
    assert runs
    for words, seen in runs.items():
        assert seen.lost == [], words
        assert records(seen.printed) == shapes.tides()


def test_without_anything_to_spare_a_waiting_loop_left_out_loses_bytes(bench: Bench) -> None:
    """So that is what the default is for: who knows the loop needs nothing to spare here."""
    runs = advised(bench, 9600, slow_bytes(416, 8), 0, loop=False)
    assert any(seen.lost for seen in runs.values())
    known = advised(bench, 9600, slow_bytes(416, 8), 0, loop=True)
    assert not any(seen.lost for seen in known.values())
