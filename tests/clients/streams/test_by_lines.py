"""TALK ... lines from a BASIC that cannot read bytes as they come: demo_site/clients/talk-bwbasic.bas."""

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.testing.stage import Stage
from tests.clients.listings.basics import terminal
from tests.clients.programs import CLIENTS
from tests.clients.streams.boards import PRINTABLE, board
from tests.clients.streams.typing import PATIENCE

PROGRAM = CLIENTS / "talk-bwbasic.bas"
SAID = [PRINTABLE[:47], PRINTABLE[47:]]
needs_bwbasic = pytest.mark.skipif(
    shutil.which("bwbasic") is None or shutil.which("socat") is None,
    reason="BWBASIC OR SOCAT IS MISSING: client not run (apt-get install bwbasic socat)",
)


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


def run(port: int, folder: Path, *typed: str) -> list[str]:
    """What it prints, from its first question on, when these lines are typed."""
    with terminal(port, folder):
        done = subprocess.run(
            ["bwbasic", str(PROGRAM)],
            cwd=folder,
            input="".join(f"{line}\n" for line in typed).encode("ascii"),
            capture_output=True,
            timeout=PATIENCE,
            check=True,
        )
    printed = done.stdout.decode("ascii")
    return [line.rstrip() for line in printed[printed.index("CALL? ") :].splitlines()]


@needs_bwbasic
@pytest.mark.parametrize(("lines", "end"), [('lines = "cr"', b"\r"), ("", b"\r\n")], ids=["cr", "crlf"])
def test_a_call(stage: Stage, tmp_path: Path, lines: str, end: bytes) -> None:
    with board(end, end) as (far, port):
        gateway = stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\n{lines}\n')
        printed = run(gateway.port, tmp_path, "board:", "", "MEG", *SAID, "", "BYE")
    # What is typed comes from a file here and is not echoed: a prompt shares its line with what follows.
    first = f"YOU SAID {SAID[0]}"  # wrapped to the 40 columns of the session, where it has no blank left
    assert [line for line in printed if line] == [
        "CALL? > HARBOUR BOARD",
        "NAME?",
        "> GOOD DAY, MEG",
        ">",
        f"> {first[:8]}",
        SAID[0][1:41],
        SAID[0][41:],
        ">",
        f"> {f'YOU SAID {SAID[1]}'[:8]}",
        SAID[1][:40],
        SAID[1][40:],
        ">",
        "> >",  # nothing came of the empty line
        "FAIR WINDS",
        "END OF CALL",
    ]
    assert far.got == [end.join([b"MEG", *(each.encode() for each in SAID), b"BYE", b""])]


@needs_bwbasic
def test_leaving_and_nobody_there(stage: Stage, tmp_path: Path) -> None:
    with board() as (far, port):
        gateway = stage.gateways(f'[place.board]\nbase = "tcp://127.0.0.1:{port}"\n')
        printed = run(gateway.port, tmp_path, "board:", "", "MEG", ".")
        assert [line for line in printed if line][-3:] == ["> GOOD DAY, MEG", ">", "> END OF CALL"]
    (tmp_path / "other").mkdir()
    printed = run(gateway.port, tmp_path / "other", "nowhere:")
    assert [line for line in printed if line] == ["CALL? No place NOWHERE", "END OF CALL"]
    assert far.got == [b"MEG\r\n"]


def test_the_device_stands_in_one_place() -> None:
    text = PROGRAM.read_text("ascii")
    assert text.count("./tty") == 1
    assert "invented" in text.splitlines()[0]
