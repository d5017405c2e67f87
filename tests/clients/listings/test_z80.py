"""Generated Z80 programs, assembled by pasmo and run on an emulated Z80 against a real gateway."""

import random
import re
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from gateway.catalogue.model import Catalogue
from gateway.commands.wiring import read_catalogue
from gateway.listings.assembly.z80 import Z80
from gateway.listings.program import task_of
from gateway.wire.ready import READY
from tests.clients.listings import shapes
from tests.clients.listings.runs import far_end, records, settings_of
from tests.clients.listings.shapes import Record
from tests.machines.far import Gateway, Spoil, unspoiled
from tests.machines.uart import Far, Line, Uart
from tests.machines.z80_machine import CLOCK, Machine, assemble

pytestmark = pytest.mark.skipif(
    shutil.which("pasmo") is None, reason="PASMO IS MISSING: Z80 programs not run (apt-get install pasmo)"
)


@pytest.fixture(scope="module")
def catalogue(gateway_config: Path) -> Catalogue:
    return read_catalogue(gateway_config)


class Bench:
    """Makes programs of the catalogue's sources and runs them. `far` and `uart` are the last run's."""

    far: Gateway
    uart: Uart
    machine: Machine

    def __init__(self, catalogue: Catalogue, port: int, folder: Path) -> None:
        self.port = port
        self.folder = folder
        self._catalogue = catalogue

    def text(self, words: str, setup: str, request: str = "") -> str:
        """The program for `words`, a source and its args; `request` comes first, or SET with `setup`."""
        name, *args = words.split()
        first = request or (f"SET {setup}" if setup else "")
        return Z80().write(task_of(self._catalogue.sources[name], first, settings_of(setup), tuple(args)))

    def run(
        self,
        words: str,
        setup: str,
        spoil: Spoil = unspoiled,
        line: Line = Line(),  # noqa: B008 - frozen
        clock: int = CLOCK,
        *,
        typed: str = "",
        garble: Spoil = unspoiled,
    ) -> list[str]:
        """What the program for `words` (a source and its args) prints.

        `typed` is its first request if that is not SET with `setup`; `spoil` has the gateway's lines before
        the program, and `garble` the program's before the gateway.
        """
        code = assemble(self.text(words, setup, typed), self.folder)
        sends = b"\r\n" if "eol=mirror" in setup else b"\r"
        with far_end(self.port, settings_of(setup), spoil, garble, sends) as self.far:
            self.uart = Uart(line, clock, self.far)
            self.machine = Machine(code, self.uart)
            return self.machine.run(clock * 600)


@pytest.fixture
def bench(catalogue: Catalogue, gateway_port: int, tmp_path: Path) -> Bench:
    return Bench(catalogue, gateway_port, tmp_path)


SETUPS = [
    "eol=cr window=1",
    "",
    "eol=lf page=3",
    "eol=none",
    "eol=9b window=2 page=3",
    "eol=mirror window=300",
    "check=sum",
    "eol=cr check=crc window=3 page=4",
    "eol=none check=crc",
    "mark=on case=upper check=sum",
    "charset=caseswap check=crc eol=cr",
    "bits=7 eol=lf",
]


@pytest.mark.parametrize("setup", SETUPS)
def test_prints_the_tides(bench: Bench, setup: str) -> None:
    printed = bench.run("TIDES MOLE", setup)
    expected = shapes.tides()
    if "caseswap" in setup:
        printed = [line.swapcase() for line in printed]
    if "case=upper" in setup:
        expected = [[(name, value.upper()) for name, value in each] for each in expected]
    assert records(printed) == expected
    assert bench.uart.lost == []


def test_the_writers_own_setup_is_right_for_it(bench: Bench) -> None:
    words_of_it = READY[Z80.setup.upper()].words
    assert records(bench.run("TIDES MOLE", words_of_it, typed=f"SET {Z80.setup}")) == shapes.tides()
    assert words(bench.far.asked)[0] == "SET POLLED"


@pytest.mark.parametrize(
    "setup", ["eol=cr window=1", "check=crc eol=none page=3", "check=sum page=2 window=3"]
)
@pytest.mark.parametrize(
    ("source", "expected"), [("ONE", shapes.one), ("WIDE", shapes.wide), ("MANY", shapes.many)]
)
def test_prints_other_shapes(
    bench: Bench, source: str, expected: Callable[[], list[Record]], setup: str
) -> None:
    assert records(bench.run(source, setup)) == expected()


def words(asked: list[bytes]) -> list[str]:
    """The program's lines without their checks, empty ones too."""
    return [line.split(b" *")[0].decode("ascii") for line in asked]


def test_pages_are_asked_for_one_by_one(bench: Bench) -> None:
    assert records(bench.run("TIDES MOLE", "page=3")) == shapes.tides()
    assert words(bench.far.asked) == ["SET PAGE=3", "ASK TIDES MOLE", "MORE", "MORE"]


def test_an_empty_line_asks_for_each_further_window(bench: Bench) -> None:
    # CONTRACT section 5, window: the status line counts, and after the last window no empty line is needed.
    assert records(bench.run("TIDES MOLE", "window=3 page=6")) == shapes.tides()
    setup = ["SET WINDOW=3 PAGE=6"]
    first = ["ASK TIDES MOLE", "", ""]  # 1 + 6 lines: 3, 3, 1
    second = ["MORE"]  # 1 + 2 lines
    assert words(bench.far.asked) == setup + first + second


@pytest.mark.parametrize("setup", ["", "eol=cr window=1", "check=crc", "check=sum window=1"])
def test_an_error_is_shown_and_ends_it(bench: Bench, setup: str) -> None:
    code, sentence, end = bench.run("TIDES NOWHERE", setup)
    assert code == "ERROR 501"
    # The record is as wide as setting `cols` (CONTRACT section 2), and its check is not shown.
    assert len(sentence) == 40
    assert "station" in sentence.lower()
    assert end == "END"


def test_a_setup_that_is_refused_is_shown(bench: Bench) -> None:
    printed = bench.run("TIDES MOLE", "", typed="SET nothing=1")
    assert printed[0] == "ERROR 501"
    assert printed[-1] == "END"
    assert words(bench.far.asked)[:1] == ["SET NOTHING=1"]
    assert len(printed) == 3


def test_what_changes_something_is_told(bench: Bench) -> None:
    printed = bench.run("SCORE OTTER 4", "eol=cr window=1 check=crc")
    assert words(bench.far.asked)[1] == "TELL SCORE OTTER 4"
    (record,) = records(printed)
    assert [name for name, _ in record] == ["RANK", "OF", "NAME"]
    assert record[2][1] == "OTTER".ljust(12)


def test_a_change_is_not_told_twice(bench: Bench) -> None:
    """The status line of TELL's reply arrives damaged: the reply is asked for again, the change is not."""
    printed = bench.run("SCORE OTTER 5", "eol=cr window=1 check=crc", spoiling(1, FLIPPED[1]))
    assert [each for each in words(bench.far.asked) if each][1:] == ["TELL SCORE OTTER 5", "AGAIN"]
    assert len(records(printed)) == 1


# Silence


class Deaf:
    """Hears only what comes after the first `count` lines."""

    def __init__(self, far: Far, count: int) -> None:
        self.heard: list[bytes] = []
        self._far = far
        self._count = count

    def reply(self, line: bytes) -> Sequence[bytes]:
        self.heard.append(line)
        return self._far.reply(line) if len(self.heard) > self._count else []


def run_deaf(bench: Bench, source: str, count: int) -> tuple[list[str], list[bytes]]:
    """What is shown, and what was sent, with short waits."""
    text = re.sub(r"LONG    EQU \d+ ", "LONG    EQU 2 ", bench.text(source, ""))
    with far_end(bench.port, settings_of("")) as far:
        deaf = Deaf(far, count)
        machine = Machine(assemble(text, bench.folder), Uart(Line(), CLOCK, deaf))
        return machine.run(CLOCK * 600), deaf.heard


def test_what_is_not_answered_is_asked_again(bench: Bench) -> None:
    printed, sent = run_deaf(bench, "TIDES MOLE", 2)
    assert records(printed) == shapes.tides()
    assert sent == [b"ASK TIDES MOLE"] * 3


def test_it_does_not_ask_for_ever(bench: Bench) -> None:
    printed, sent = run_deaf(bench, "TIDES MOLE", 1000)
    assert printed == ["LINE TOO BAD", "END"]
    assert sent == [b"ASK TIDES MOLE"] * 8


def test_a_change_that_is_not_answered_is_not_told_again(bench: Bench) -> None:
    printed, sent = run_deaf(bench, "SCORE OTTER 6", 1000)
    assert printed == ["LINE TOO BAD", "END"]
    assert sent == [b"TELL SCORE OTTER 6"]


# Damage on the way

FLIPPED = ("one bit wrong", lambda line: bytes([*line[:7], line[7] ^ 4, *line[8:]]))
LOST = ("a byte lost", lambda line: line[:7] + line[8:])
NO_END = ("its end lost", lambda line: line.rstrip(b"\r\n"))
SPLIT = ("an end within", lambda line: line[:7] + b"\r" + line[8:])
LONGER = ("a byte too many", lambda line: line[:7] + b"?" + line[7:])
DAMAGES = [FLIPPED, LOST, NO_END, SPLIT, LONGER]


def spoiling(place: int, damage: Callable[[bytes], bytes]) -> Spoil:
    return lambda at, line: damage(line) if at == place else line


@pytest.mark.parametrize("setup", ["check=crc", "check=crc eol=cr window=1", "check=sum window=4"])
@pytest.mark.parametrize("damage", [each[1] for each in DAMAGES], ids=[each[0] for each in DAMAGES])
def test_a_damaged_record_is_asked_for_again(
    bench: Bench, setup: str, damage: Callable[[bytes], bytes]
) -> None:
    # Line 0 answers SET, line 1 is the status line; line 4 is the third record.
    printed = bench.run("TIDES MOLE", f"{setup} page=5", spoiling(4, damage))
    assert records(printed) == shapes.tides()
    assert words(bench.far.asked).count("AGAIN 00003") == 1


@pytest.mark.parametrize("setup", ["check=sum", "check=crc eol=cr window=1"])
@pytest.mark.parametrize("place", [0, 1, 7], ids=["of SET", "of ASK", "of MORE"])
@pytest.mark.parametrize("damage", [FLIPPED[1], LOST[1], NO_END[1]], ids=["one bit", "a byte", "its end"])
def test_a_damaged_status_line_is_asked_for_again(
    bench: Bench, setup: str, place: int, damage: Callable[[bytes], bytes]
) -> None:
    printed = bench.run("TIDES MOLE", f"{setup} page=5", spoiling(place, damage))
    assert records(printed) == shapes.tides()
    asked = [each for each in words(bench.far.asked) if each]
    first = f"SET {setup} page=5".upper()
    again = {0: [first], 1: ["ASK TIDES MOLE"], 7: ["AGAIN"]}[place]
    expected = [first, "ASK TIDES MOLE", "MORE"]
    at = [0, 1, 7].index(place) + 1
    assert asked == expected[:at] + again + expected[at:]


@pytest.mark.parametrize("setup", ["", "eol=cr window=1"])
def test_a_lost_byte_is_noticed_without_a_check(bench: Bench, setup: str) -> None:
    assert records(bench.run("TIDES MOLE", setup, spoiling(4, LOST[1]))) == shapes.tides()


def test_a_line_that_never_comes_whole_ends_it(bench: Bench) -> None:
    printed = bench.run("TIDES MOLE", "check=sum", lambda at, line: LOST[1](line) if at >= 3 else line)
    assert printed[-2:] == ["LINE TOO BAD", "END"]
    assert len(records([*printed[:-2], "END"])) == 1  # line 2, the first record, came whole


@pytest.mark.parametrize(
    ("setup", "place", "request_words"),
    [
        ("check=sum page=3", 1, "ASK TIDES MOLE"),
        ("check=sum page=3", 3, "MORE"),
        ("check=crc eol=cr window=1 page=3", 1, "ASK TIDES MOLE"),
        ("check=crc eol=cr window=1 page=3", 5, "MORE"),  # three empty lines before it
    ],
)
@pytest.mark.parametrize("at", [2, -1], ids=["a letter", "its check"])
def test_a_request_that_arrives_damaged_is_sent_again(
    bench: Bench, setup: str, place: int, request_words: str, at: int
) -> None:
    def garble(number: int, line: bytes) -> bytes:
        changed = bytearray(line)
        if number == place:
            changed[at] ^= 0x11
        return bytes(changed)

    assert records(bench.run("TIDES MOLE", setup, garble=garble)) == shapes.tides()
    assert words(bench.far.asked)[place : place + 2] == [request_words, request_words]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("setup", ["check=crc eol=cr window=3 page=5", "check=crc page=5"])
def test_a_noisy_line_both_ways(bench: Bench, setup: str, seed: int) -> None:
    """One bit in a thousand is wrong, which spoils every sixth line: each record comes, right, and once."""
    noise = random.Random(seed)

    def flip(line: bytes) -> bytes:
        wrong = [1 << bit if noise.random() < 0.001 else 0 for _ in line for bit in range(8)]
        masks = [sum(wrong[at : at + 8]) for at in range(0, len(wrong), 8)]
        return bytes(byte ^ mask for byte, mask in zip(line, masks, strict=True))

    def up(place: int, line: bytes) -> bytes:
        garbled = flip(line)
        # SET cannot be checked, since it is what begins checking; and a line end would make two lines of one.
        return garbled if place and garbled.decode("latin1").isprintable() else line

    printed = bench.run("TIDES MOLE", setup, lambda _, line: flip(line), garble=up)
    assert records(printed) == shapes.tides()
