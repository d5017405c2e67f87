"""Generated C89 programs, compiled with cc65 and run under py65 against the running gateway.

They are compiled as they stand, for no particular machine (`-t none`); only the start and putchar are the
test machine's. gcc, where it is there, has to find nothing to warn of. sdcc and a Z80:
test_sdcc.py.
"""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from demo_site.servers import DemoServers
from demo_site.site import BUSY_SECONDS
from tests.clients.listings import shapes
from tests.clients.listings.compiling import compiled
from tests.clients.listings.runs import far_end, records, task
from tests.clients.listings.shapes import Record
from tests.machines.far import Gateway, Spoil, unspoiled
from tests.machines.mos6502 import CLOCK, Machine
from tests.machines.uart import Line, Uart

pytestmark = pytest.mark.skipif(
    shutil.which("cc65") is None, reason="CC65 IS MISSING: the C programs were not run (apt-get install cc65)"
)

Ran = tuple[list[str], Machine, Gateway]
Run = Callable[..., Ran]


@pytest.fixture
def run(gateway_config: Path, gateway_port: int, tmp_path: Path) -> Run:
    """Write, compile and run the program of a source."""

    def running(
        source: str,
        words: str,
        *args: str,
        rate: int = 1200,
        spoil: Spoil = unspoiled,
        spoil_asked: Spoil = unspoiled,
        skip: bool = True,
    ) -> Ran:
        asked = task(gateway_config, source, words, *args)
        code = compiled(asked, tmp_path)
        with far_end(gateway_port, asked.settings, spoil, spoil_asked) as far:
            machine = Machine(code, Uart(Line(rate), CLOCK, far), skip=skip)
            return machine.run(), machine, far

    return running


@pytest.mark.parametrize(
    ("source", "args", "expected"),
    [
        ("TIDES", ("MOLE",), shapes.tides),
        ("ONE", (), shapes.one),
        ("MANY", (), shapes.many),
        ("WIDE", (), shapes.wide),
    ],
)
def test_it_shows_the_records(
    run: Run, source: str, args: tuple[str, ...], expected: Callable[[], list[Record]]
) -> None:
    printed, machine, _ = run(source, "eol=cr window=1", *args, rate=9600)
    assert records(printed) == expected()
    assert machine.uart.lost == []


@pytest.mark.parametrize(
    "words",
    [
        "",
        "page=3",
        "eol=9b window=2 page=5",
        "eol=none",
        "eol=lf bits=7",
        "eol=cr window=1 check=crc page=3",
        "eol=none window=1 check=sum",
    ],
)
def test_line_ends_windows_pages_and_checks(run: Run, words: str) -> None:
    """A character at 300 bits a second is 33,333 cycles: enough for a line's work without a window."""
    printed, machine, far = run("TIDES", words, "MOLE", rate=2400 if "window=1" in words else 300)
    assert records(printed) == shapes.tides()
    assert machine.uart.lost == []
    pages = 3 if "page=3" in words else 2 if "page" in words else 1
    assert far.requests.count(b"MORE") == pages - 1


@pytest.mark.parametrize("words", ["", "eol=cr window=1 check=crc"])
def test_it_says_what_goes_wrong_and_ends(run: Run, words: str) -> None:
    printed, _, _ = run("TIDES", words, "NOWHERE")
    assert [each.rstrip() for each in printed] == ["ERROR 501", "STATION is one of MOLE GATE BAR", "END"]
    printed, _, _ = run("BUSY", words)
    assert printed[0] == "ERROR 450"
    assert 0 < int(printed[1].split()[-1]) <= BUSY_SECONDS
    assert printed[2:] == ["END"]


@pytest.mark.parametrize(
    ("words", "place", "asked_again"),
    [
        ("eol=cr window=1 check=crc", 4, [b"AGAIN 00003"]),  # 0: SET's reply, 1: status line, 2-9: records
        ("eol=cr window=1 check=sum", 1, []),  # an ASK may be sent once more
        ("eol=cr window=1 check=sum page=4", 6, [b"AGAIN"]),  # the second page's status line
        ("eol=cr window=1 check=crc", 0, []),  # SET is sent once more
        ("eol=cr window=3 check=crc page=4", 8, [b"AGAIN 00002"]),  # 6 is the second page's status line
    ],
)
def test_a_damaged_line_is_asked_for_again(
    run: Run, words: str, place: int, asked_again: list[bytes]
) -> None:
    def spoil(at: int, line: bytes) -> bytes:
        return bytes([line[0] ^ 1]) + line[1:] if at == place else line

    printed, _, far = run("TIDES", words, "MOLE", rate=300 if "3" in words else 2400, spoil=spoil)
    assert records(printed) == shapes.tides()
    assert [line for line in far.requests if line.startswith(b"AGAIN")] == asked_again
    assert len([line for line in far.requests if line.startswith(b"SET")]) == 1 + (place == 0)


def test_a_damaged_request_is_sent_once_more(run: Run) -> None:
    met: list[bytes] = []

    def spoil(_place: int, line: bytes) -> bytes:
        if line[:4] in {each[:4] for each in met} or not line.startswith((b"ASK", b"MORE")):
            return line
        met.append(line)
        return line.replace(b"MO", b"NO")

    printed, _, far = run("TIDES", "eol=cr window=1 page=5 check=crc", "MOLE", rate=2400, spoil_asked=spoil)
    assert records(printed) == shapes.tides()
    assert far.requests == [
        b"SET eol=cr window=1 page=5 check=crc",
        *[b"ASK TIDES MOLE"] * 2,
        *[b"MORE"] * 2,
    ]


def test_a_more_that_was_lost_with_its_500_brings_no_page_twice(run: Run) -> None:
    """MORE arrives damaged, and the status line of its 500 too: AGAIN then brings the page before."""
    for words, rate in (("eol=cr window=1", 2400), ("eol=cr window=4", 300)):
        told: list[bytes] = []

        def spoil_asked(_place: int, line: bytes, told: list[bytes] = told) -> bytes:
            return line.replace(b"MORE", b"NORE") if not told else line

        def spoil(_place: int, line: bytes, told: list[bytes] = told) -> bytes:
            if not line.startswith(b"500") or told:
                return line
            told.append(line)
            return b"4" + line[1:]

        asked = f"{words} page=3 check=sum"
        printed, _, far = run("TIDES", asked, "MOLE", rate=rate, spoil=spoil, spoil_asked=spoil_asked)
        assert told
        assert records(printed) == shapes.tides()
        assert far.requests[2:5] == [b"MORE", b"AGAIN", b"MORE"]


def test_a_change_is_not_told_twice(run: Run, demo_servers: DemoServers) -> None:
    """The status line of TELL's reply arrives damaged: the reply is asked for again, the change is not."""
    demo_servers.site.reset()

    def spoil(place: int, line: bytes) -> bytes:
        return b"?" + line[1:] if place == 1 else line

    printed, _, far = run("SCORE", "eol=cr window=1 check=crc", "MOLE", "8200", rate=2400, spoil=spoil)
    assert records(printed) == [[("RANK", "  2"), ("OF", "  6"), ("NAME", "MOLE".ljust(12))]]
    assert [line.split()[0] for line in far.requests] == [b"SET", b"TELL", b"AGAIN"]


def test_skipping_waits_changes_nothing(run: Run) -> None:
    (_, plain, _), (_, skipped, _) = (
        run("ONE", "eol=cr window=1", rate=9600, skip=skip) for skip in (False, True)
    )
    assert skipped.skipped > skipped.cycles / 3
    assert (plain.printed, plain.cycles, plain.reads) == (skipped.printed, skipped.cycles, skipped.reads)
