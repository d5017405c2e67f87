"""Generated C programs, compiled by sdcc and run on an emulated Z80 against a real gateway."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from gateway.catalogue.model import Catalogue
from gateway.commands.wiring import read_catalogue
from gateway.listings.c89 import C89
from gateway.listings.program import task_of
from tests.clients.listings import shapes
from tests.clients.listings.runs import far_end, records, settings_of
from tests.clients.listings.shapes import Record
from tests.machines.far import Gateway, Spoil, unspoiled
from tests.machines.sdcc import compiled
from tests.machines.uart import Line, Uart
from tests.machines.z80_machine import CLOCK, Machine

pytestmark = pytest.mark.skipif(
    shutil.which("sdcc") is None, reason="SDCC IS MISSING: C programs not run (apt-get install sdcc)"
)


class Bench:
    """Makes programs of the catalogue's sources and runs them. `far` and `uart` are the last run's."""

    far: Gateway
    uart: Uart

    def __init__(self, catalogue: Catalogue, port: int, folder: Path) -> None:
        self._catalogue = catalogue
        self._port = port
        self._folder = folder

    def run(self, words: str, setup: str, rate: int = 9600, spoil: Spoil = unspoiled) -> list[str]:
        """What the program for `words` (a source and its args) prints."""
        settings = settings_of(setup)
        name, *args = words.split()
        request = f"SET {setup}" if setup else ""
        task = task_of(self._catalogue.sources[name], request, settings, tuple(args))
        code = compiled(C89().write(task), self._folder)
        with far_end(self._port, settings, spoil) as self.far:
            self.uart = Uart(Line(rate), CLOCK, self.far)
            return Machine(code, self.uart).run(CLOCK * 600)


@pytest.fixture
def bench(gateway_config: Path, gateway_port: int, tmp_path: Path) -> Bench:
    return Bench(read_catalogue(gateway_config), gateway_port, tmp_path)


def rate(setup: str) -> int:
    """Bits a second that the program can take; without a window of one line it works while others come in."""
    if "window=1" in setup:
        return 9600
    return 300 if "crc" in setup else 1200


@pytest.mark.parametrize(
    "setup",
    [
        "eol=cr window=1",
        "",
        "eol=lf page=3",
        "eol=none window=2",
        "eol=9b",
        "check=sum",
        "check=crc window=1 page=3",
    ],
)
def test_prints_the_tides(bench: Bench, setup: str) -> None:
    printed = bench.run("TIDES MOLE", setup, rate(setup))
    assert records(printed) == shapes.tides()
    assert bench.uart.lost == []


@pytest.mark.parametrize("setup", ["eol=cr window=1", "check=crc window=1"])
@pytest.mark.parametrize(
    ("source", "expected"), [("ONE", shapes.one), ("WIDE", shapes.wide), ("MANY", shapes.many)]
)
def test_prints_other_shapes(
    bench: Bench, source: str, expected: Callable[[], list[Record]], setup: str
) -> None:
    assert records(bench.run(source, setup)) == expected()


@pytest.mark.parametrize("setup", ["", "eol=cr window=1", "check=crc"])
def test_an_error_is_shown_and_ends_it(bench: Bench, setup: str) -> None:
    code, sentence, end = bench.run("TIDES NOWHERE", setup, rate(setup))
    assert code == "ERROR 501"
    assert "station" in sentence.lower()
    assert end == "END"


@pytest.mark.parametrize(
    ("setup", "place"),
    [
        ("check=sum window=1", 0),
        ("check=crc window=1", 1),
        ("check=sum window=4", 4),
        ("check=crc", 4),
        ("check=sum", 7),
    ],
    ids=["of SET", "of ASK", "a record", "a record, no window", "of MORE"],
)
def test_what_is_damaged_is_asked_for_again(bench: Bench, setup: str, place: int) -> None:
    def spoil(at: int, line: bytes) -> bytes:
        return bytes([*line[:7], line[7] ^ 4, *line[8:]]) if at == place else line

    printed = bench.run("TIDES MOLE", f"{setup} page=5", rate(setup), spoil)
    assert records(printed) == shapes.tides()
