"""The GW-BASIC client runs under PC-BASIC, over a serial device that is a socket."""

import importlib.util
from pathlib import Path

import pytest

from tests.clients.listings.basics import pcbasic
from tests.clients.programs import CLIENTS, PRINTED, asking

PROGRAM = "tides.bas"

needs_pcbasic = pytest.mark.skipif(
    importlib.util.find_spec("pcbasic") is None,
    reason="PC-BASIC IS MISSING: the real client was not run (pip install pcbasic)",
)


@needs_pcbasic
def test_prints_the_tides(gateway_port: int, tmp_path: Path) -> None:
    printed = pcbasic((CLIENTS / PROGRAM).read_text("ascii"), gateway_port, tmp_path)
    assert [line for line in printed if line] == PRINTED


@needs_pcbasic
def test_prints_an_error_and_goes_on(gateway_port: int, tmp_path: Path) -> None:
    printed = [
        line.rstrip() for line in pcbasic(asking(PROGRAM, "ASK TIDES NOWHERE"), gateway_port, tmp_path)
    ]
    code, sentence, sentinel = [line for line in printed if line]
    assert code.startswith("ERROR 5")
    assert sentence
    assert sentinel == "END OF TIDES"


def test_the_program_is_short_and_takes_a_classic_line() -> None:
    """Ten lines at most, each within the 255 characters of a GW-BASIC line (from memory of its manual)."""
    lines = (CLIENTS / PROGRAM).read_text("ascii").splitlines()
    assert len(lines) <= 10
    assert max(map(len, lines)) <= 255
    assert [int(line.split()[0]) for line in lines] == sorted(int(line.split()[0]) for line in lines)
