"""The ten-line terminal program of demo_site/clients under PC-BASIC, over TALK to far ends of all kinds."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.testing.stage import Stage
from tests.clients.programs import CLIENTS
from tests.clients.streams.boards import PRINTABLE, board
from tests.clients.streams.typing import at_pcbasic
from tests.clients.test_pcbasic import needs_pcbasic

TERMINAL = (CLIENTS / "terminal.bas").read_text("ascii")


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


@needs_pcbasic
@pytest.mark.parametrize(
    ("ends", "lines", "reads"),
    [
        pytest.param(b"\r", 'lines = "cr"', b"\r", id="cr-both-ways"),
        pytest.param(b"\r\n", "", b"\r\n", id="crlf-both-ways"),
        pytest.param(b"\r\n", 'lines = "cr"', b"\r", id="crlf-and-wants-cr"),
        pytest.param(b"\n", "", b"\r\n", id="lf-and-wants-crlf"),
    ],
)
def test_a_call_from_the_name_to_the_last_line(
    stage: Stage, tmp_path: Path, ends: bytes, lines: str, reads: bytes
) -> None:
    with board(ends, reads) as (far, port):
        gateway = stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\n{lines}\n')
        with at_pcbasic(TERMINAL, gateway.port, tmp_path) as user:
            user.see("CALL? ")
            user.type("board:\r")
            user.see("NAME? ")
            user.type("MEG\r")
            user.see("\r\n> ")
            user.type(f"{PRINTABLE}\r")
            user.see("\r\n> ")
            user.type("\r")
            user.see("\r\n> ")
            user.type("BYE\r")
            screen = user.end()
    # What is typed is not shown by the program, and not by this far end either.
    assert screen.split("\r\n") == [
        "CALL? board:",
        "HARBOUR BOARD",
        "",
        "NAME? GOOD DAY, MEG",
        f"> YOU SAID {PRINTABLE}",
        "> YOU SAID ",
        "> ",
        "FAIR WINDS",
        "226 00000 000 ..",
        "END OF CALL",
        "",
    ]
    assert far.got == [reads.join([b"MEG", PRINTABLE.encode(), b"", b"BYE", b""])]


@needs_pcbasic
def test_leaving(stage: Stage, tmp_path: Path) -> None:
    """A second of silence, +++, a second of silence (CONTRACT section 3, TALK)."""
    with board() as (far, port):
        gateway = stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\n')
        with at_pcbasic(TERMINAL, gateway.port, tmp_path) as user:
            user.see("CALL? ")
            user.type("board:\r")
            user.see("NAME? ")
            user.type("MEG +++\r")
            user.see("\r\n> ")
            time.sleep(1.3)
            user.type("+++")
            screen = user.end()
    assert screen.endswith("NAME? GOOD DAY, MEG +++\r\n> \r\n226 00000 000 ..\r\nEND OF CALL\r\n")
    assert far.got == [b"MEG +++\r\n"]


@needs_pcbasic
def test_what_only_looks_like_the_end_is_none(stage: Stage, tmp_path: Path) -> None:
    """Text that holds a status line; a whole line of its own would be taken for it, see the README."""
    with board() as (far, port):
        gateway = stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\n')
        with at_pcbasic(TERMINAL, gateway.port, tmp_path) as user:
            user.see("CALL? ")
            user.type("board:\r")
            user.see("NAME? ")
            user.type("226 00000 000 ..\r")
            user.see("GOOD DAY, 226 00000 000 ..\r\n> ")
            user.type("BYE\r")
            screen = user.end()
    assert screen.count("226 00000 000 ..\r\n") == 2
    assert far.got == [b"226 00000 000 ..\r\nBYE\r\n"]


@needs_pcbasic
@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("nowhere:", "No place NOWHERE                        "),
        ("", "Wanted: TALK ref [lines]                "),
    ],
)
def test_nobody_there(stage: Stage, tmp_path: Path, name: str, sentence: str) -> None:
    gateway = stage.gateways('[place.board]\nbase = "tcp://127.0.0.1:9"\n')
    with at_pcbasic(TERMINAL, gateway.port, tmp_path) as user:
        user.see("CALL? ")
        user.type(f"{name}\r")
        screen = user.end()
    assert screen.split("\r\n") == [f"CALL? {name}", sentence, "END OF CALL", ""]


def test_the_program_has_ten_lines_and_takes_a_classic_line() -> None:
    """Each is within the 255 characters of a GW-BASIC line (from memory of its manual)."""
    lines = TERMINAL.splitlines()
    assert len(lines) <= 10
    assert max(map(len, lines)) <= 255
    assert [line.split()[0] for line in lines] == [str(10 * each) for each in range(1, len(lines) + 1)]
    assert "invented" in lines[0]
