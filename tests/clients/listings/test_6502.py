"""Generated 6502 programs, assembled with ca65 and ld65 and run under py65 against the running gateway.

What they print is held against the documents themselves (tests/clients/listings/shapes.py).
"""

import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from demo_site.servers import DemoServers
from demo_site.site import BUSY_SECONDS
from gateway.commands.main import main
from gateway.listings.assembly.mos6502 import Mos6502
from gateway.listings.program import Task
from gateway.wire.ready import READY
from tests.clients.listings import shapes
from tests.clients.listings.runs import far_end, records, task
from tests.clients.listings.shapes import Record
from tests.machines.far import Gateway, Spoil, unspoiled
from tests.machines.mos6502 import CLOCK, Machine, assemble
from tests.machines.uart import Line, Uart

needs_assembler = pytest.mark.skipif(
    shutil.which("ca65") is None or shutil.which("ld65") is None,
    reason="CA65 IS MISSING: the 6502 programs were not run (apt-get install cc65)",
)
pytestmark = needs_assembler


@dataclass(frozen=True, slots=True)
class Ran:
    """A program that came to its end."""

    printed: list[str]
    machine: Machine
    far: Gateway


@dataclass(frozen=True, slots=True)
class Runner:
    """Writes, assembles and runs a program."""

    config: Path
    port: int
    folder: Path

    def task(self, source: str, words: str, *args: str) -> Task:
        return task(self.config, source, words, *args)

    def run(
        self,
        asked: Task,
        line: Line,
        spoil: Spoil = unspoiled,
        spoil_asked: Spoil = unspoiled,
        skip: bool = True,
    ) -> Ran:
        code = assemble(Mos6502().write(asked), self.folder)
        with far_end(self.port, asked.settings, spoil, spoil_asked) as far:
            machine = Machine(code, Uart(line, CLOCK, far), skip=skip)
            return Ran(machine.run(), machine, far)


@pytest.fixture
def runner(gateway_config: Path, gateway_port: int, tmp_path: Path) -> Runner:
    return Runner(gateway_config, gateway_port, tmp_path)


SOURCES: list[tuple[str, tuple[str, ...], Callable[[], list[Record]]]] = [
    ("TIDES", ("MOLE",), shapes.tides),
    ("ONE", (), shapes.one),
    ("MANY", (), shapes.many),
    ("WIDE", (), shapes.wide),
]


@pytest.mark.parametrize(("source", "args", "expected"), SOURCES, ids=[each[0] for each in SOURCES])
@pytest.mark.parametrize(("words", "rate"), [("eol=cr window=1", 19200), ("eol=lf window=3 page=2", 300)])
def test_it_shows_the_records(
    runner: Runner,
    source: str,
    args: tuple[str, ...],
    expected: Callable[[], list[Record]],
    words: str,
    rate: int,
) -> None:
    """With a window of one line as fast as may be; else so slowly that a line's work costs no character."""
    ran = runner.run(runner.task(source, words, *args), Line(rate))
    assert records(ran.printed) == expected()
    assert ran.machine.uart.lost == []


@pytest.mark.parametrize(
    ("words", "rate"),
    [
        *[
            (words, 1200)
            for words in ("", "page=3", "window=2", "eol=9b", "eol=none", "eol=mirror", "mark=on")
        ],
        *[(words, 2400) for words in ("check=sum", "page=3 check=sum", "eol=none check=sum mark=on")],
        *[(words, 1200) for words in ("check=crc", "window=2 check=crc", "bits=7 eol=lf check=crc")],
    ],
)
def test_every_line_end_window_page_and_check(runner: Runner, words: str, rate: int) -> None:
    """At 1,200 bits a second a character is 8,333 cycles: enough for a line's work without a window."""
    ran = runner.run(runner.task("TIDES", words, "MOLE"), Line(rate))
    assert records(ran.printed) == shapes.tides()
    pages = 3 if "page" in words else 1
    assert ran.far.requests.count(b"MORE") == pages - 1
    if "window=2" in words:  # nine lines: an empty one after each two while others come
        assert ran.far.asked.count(b"") == 4


@pytest.mark.parametrize(
    "words", ["", "eol=cr window=1", "eol=cr window=1 check=crc", "check=sum", "eol=none"]
)
def test_it_says_what_goes_wrong_and_ends(runner: Runner, words: str) -> None:
    printed = runner.run(runner.task("TIDES", words, "NOWHERE"), Line(1200)).printed
    assert [each.rstrip() for each in printed] == ["ERROR 501", "STATION is one of MOLE GATE BAR", "END"]
    printed = runner.run(runner.task("BUSY", words), Line(1200)).printed
    assert (
        printed[0] == "ERROR 450"
    )  # CONTRACT section 2: the far server is busy; its record ends in the seconds
    assert 0 < int(printed[1].split()[-1]) <= BUSY_SECONDS
    assert printed[2:] == ["END"]


def test_a_setting_that_is_refused_is_shown(runner: Runner) -> None:
    asked = runner.task("TIDES", "cols=30", "MOLE")
    asked = type(asked)(
        asked.source, asked.about, asked.args, asked.columns, asked.width, "SET COLS=9999", asked.settings
    )
    printed = runner.run(asked, Line(1200)).printed
    assert printed[0] == "ERROR 501"
    assert printed[-1] == "END"


def damaged(*places: int) -> tuple[Spoil, list[int]]:
    """One bit of the lines at these places is turned over; and which were met."""
    met: list[int] = []

    def spoil(place: int, line: bytes) -> bytes:
        if place not in places:
            return line
        met.append(place)
        return bytes([line[0] ^ 1]) + line[1:]

    return spoil, met


@pytest.mark.parametrize(
    ("words", "places", "asked_again"),
    [
        ("eol=cr window=1", (4,), [b"AGAIN 00003"]),  # 0: SET's reply, 1: status line, 2-9: records
        ("eol=cr window=1", (1,), []),  # an ASK may be sent once more
        ("eol=cr page=4", (6,), [b"AGAIN"]),  # the second page's status line
        ("eol=cr window=1", (0,), []),  # SET is sent once more
        ("eol=cr window=3", (5, 9), [b"AGAIN 00004", b"AGAIN 00005"]),  # 7 is a status line
        ("eol=cr window=1 page=4", (8,), [b"AGAIN 00002"]),  # of the second page
        ("eol=cr", (9,), [b"AGAIN 00008"]),
        # Without a window, AGAIN n is one record: the rest of its page comes one by one.
        ("eol=cr page=5", (4,), [b"AGAIN 00003", b"AGAIN 00004", b"AGAIN 00005"]),
    ],
)
def test_a_damaged_line_is_asked_for_again(
    runner: Runner, words: str, places: tuple[int, ...], asked_again: list[bytes]
) -> None:
    spoil, met = damaged(*places)
    ran = runner.run(runner.task("TIDES", f"{words} check=crc", "MOLE"), Line(1200), spoil)
    assert met == list(places)
    assert records(ran.printed) == shapes.tides()
    assert [line for line in ran.far.requests if line.startswith(b"AGAIN")] == asked_again
    assert ran.far.requests.count(f"SET {words} check=crc".encode()) == 1 + (places == (0,))


@pytest.mark.parametrize(
    ("lost", "asked_again"),
    [(slice(5, 6), [b"AGAIN 00003"]), (slice(-2, None), [b"AGAIN 00003"]), (slice(-1, None), [])],
)
def test_lost_bytes_are_noticed(runner: Runner, lost: slice, asked_again: list[bytes]) -> None:
    """A line that is all there but for its end is taken after two seconds' silence."""

    def spoil(place: int, line: bytes) -> bytes:
        return line.replace(line[lost], b"", 1) if place == 4 else line

    ran = runner.run(runner.task("TIDES", "eol=cr window=1 check=crc", "MOLE"), Line(9600), spoil)
    assert records(ran.printed) == shapes.tides()
    assert [line for line in ran.far.requests if line.startswith(b"AGAIN")] == asked_again


def test_a_line_that_stays_wrong_ends_the_program(runner: Runner) -> None:
    def spoil(place: int, line: bytes) -> bytes:
        return line if place < 2 or line.startswith(b"2") else b"?" + line[1:]

    ran = runner.run(runner.task("TIDES", "eol=cr window=1 check=crc", "MOLE"), Line(9600), spoil)
    assert ran.printed[-1] == "END"
    assert ran.far.requests.count(b"AGAIN 00001") == 8  # nine tries


@pytest.mark.parametrize("words", ["eol=cr window=1", "eol=crlf check=crc page=3"])
def test_skipping_waits_changes_nothing(runner: Runner, words: str) -> None:
    asked = runner.task("TIDES", words, "MOLE")
    plain, skipped = (runner.run(asked, Line(2400), skip=skip).machine for skip in (False, True))
    assert plain.skipped == 0
    assert skipped.skipped > skipped.cycles / 3
    assert (plain.printed, plain.cycles, plain.reads) == (skipped.printed, skipped.cycles, skipped.reads)
    assert list(plain.memory) == list(skipped.memory)


@pytest.mark.parametrize("check", ["check=sum", "check=crc"])
@pytest.mark.parametrize(
    ("request_line", "turned"),
    [
        (b"ASK TIDES MOLE", (b"MOLE", b"GATE")),  # a good request, but another
        (b"MORE", (b"MORE", b"LORE")),
        (b"MORE", (b"*", b"+")),  # no check at all
    ],
)
def test_a_damaged_request_is_sent_once_more(
    runner: Runner, check: str, request_line: bytes, turned: tuple[bytes, bytes]
) -> None:
    met: list[int] = []

    def spoil(place: int, line: bytes) -> bytes:
        if met or not line.startswith(request_line):
            return line
        met.append(place)
        return line.replace(*turned)

    asked = runner.task("TIDES", f"eol=cr window=1 page=5 {check}", "MOLE")
    ran = runner.run(asked, Line(4800), spoil_asked=spoil)
    assert records(ran.printed) == shapes.tides()
    assert ran.far.requests.count(request_line) == 2
    assert [line[:3] for line in ran.far.told].count(b"500") == 1


def test_a_change_is_not_told_twice(runner: Runner, demo_servers: DemoServers) -> None:
    """The status line of TELL's reply arrives damaged: the reply is asked for again, the change is not."""
    demo_servers.site.reset()
    spoil, met = damaged(1)
    asked = runner.task("SCORE", "eol=cr window=1 check=crc", "MOLE", "8200")
    ran = runner.run(asked, Line(4800), spoil)
    assert met == [1]
    assert records(ran.printed) == [[("RANK", "  2"), ("OF", "  6"), ("NAME", "MOLE".ljust(12))]]
    assert [line.split()[0] for line in ran.far.requests] == [b"SET", b"TELL", b"AGAIN"]


def test_the_command_writes_it(
    gateway_config: Path, gateway_port: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a user would have it: the trait's own settings, which SET takes by a profile's name."""
    assert main(["listing", "tides", "mole", "--for", "6502", "--config", str(gateway_config)]) == 0
    code = assemble(capsys.readouterr().out, tmp_path)
    with far_end(gateway_port, READY["POLLED"].settings) as far:
        machine = Machine(code, Uart(Line(19200), CLOCK, far))
        assert records(machine.run()) == shapes.tides()
    assert far.asked[0] == b"SET polled"


def test_an_empty_line_that_becomes_another_is_no_record(runner: Runner) -> None:
    """The gateway answers 500 and has let nothing go; the record that was due is asked for."""
    asked = runner.task("TIDES", "eol=cr window=1 check=crc", "MOLE")
    ran = runner.run(
        asked, Line(4800), spoil_asked=lambda place, line: b"\x7b" if place == 4 and not line else line
    )
    assert records(ran.printed) == shapes.tides()
    assert ran.far.requests[-1] == b"AGAIN 00003"


def test_a_more_that_was_lost_with_its_500_brings_no_page_twice(runner: Runner) -> None:
    """MORE arrives damaged, and the status line of its 500 too: AGAIN then brings the page before."""
    for words in ("eol=cr window=1", "eol=cr window=4", "eol=cr"):
        told: list[bytes] = []

        def spoil_asked(_place: int, line: bytes, told: list[bytes] = told) -> bytes:
            return line.replace(b"MORE", b"NORE") if not told else line

        def spoil(_place: int, line: bytes, told: list[bytes] = told) -> bytes:
            if not line.startswith(b"500") or told:
                return line
            told.append(line)
            return b"4" + line[1:]

        asked = runner.task("TIDES", f"{words} page=3 check=crc", "MOLE")
        ran = runner.run(asked, Line(1200), spoil, spoil_asked)
        assert told
        assert records(ran.printed) == shapes.tides()
        assert ran.far.requests[2:5] == [b"MORE", b"AGAIN", b"MORE"]


@pytest.mark.parametrize("words", ["eol=cr window=1", "eol=cr window=3"])
def test_a_noisy_line_costs_no_record(runner: Runner, words: str) -> None:
    """Each bit of each byte, both ways, is turned with a probability of 1/2000."""
    asked = runner.task("TIDES", f"{words} page=3 check=crc", "MOLE")
    for seed in range(3):
        chance = random.Random(seed)

        def spoil(_place: int, line: bytes, chance: random.Random = chance) -> bytes:
            flips = (sum((chance.random() < 0.0005) << bit for bit in range(8)) for _ in line)
            return bytes(byte ^ flip for byte, flip in zip(line, flips, strict=True))

        def spoil_asked(place: int, line: bytes, spoil: Spoil = spoil) -> bytes:
            # A line that ends or is abandoned elsewhere is two lines: this end reads one reply for each.
            return spoil(place, line).translate(None, b"\r\n\x18\x9b")

        ran = runner.run(asked, Line(1200), spoil, spoil_asked)
        assert records(ran.printed) == shapes.tides(), seed


@pytest.mark.parametrize("words", ["eol=cr window=1 check=crc", "check=sum"])
def test_a_change_that_may_not_have_been_told_is_not_called_done(
    runner: Runner, demo_servers: DemoServers, words: str
) -> None:
    """TELL arrives damaged, and so does the status line of its 500: there is no page to ask for again."""
    demo_servers.site.reset()

    def spoil_asked(_place: int, line: bytes) -> bytes:
        return line.replace(b"TELL", b"TALL")

    def spoil(place: int, line: bytes) -> bytes:
        return b"4" + line[1:] if place == 1 else line

    asked = runner.task("SCORE", words, "MOLE", "8200")
    ran = runner.run(asked, Line(1200), spoil, spoil_asked)
    assert ran.printed[0] == "ERROR 503"
    assert ran.printed[-1] == "END"
    assert [line.split()[0] for line in ran.far.requests][:3] == [b"SET", b"TELL", b"AGAIN"]
    assert len([line for line in ran.far.requests if line.startswith(b"TELL")]) == 1
