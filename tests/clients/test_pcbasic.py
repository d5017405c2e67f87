"""The GW-BASIC client runs under PC-BASIC, over a serial device that is a socket."""

import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

from tests.clients.programs import CLIENTS, PRINTED, asking

PROGRAM = "tides.bas"
PATIENCE = 60  # seconds; it takes about two

needs_pcbasic = pytest.mark.skipif(
    importlib.util.find_spec("pcbasic") is None,
    reason="PC-BASIC IS MISSING: the real client was not run (pip install pcbasic)",
)


def run(text: str, port: int, folder: Path) -> list[str]:
    """What the program prints. PC-BASIC exits with 0 even on errors, so callers look for the sentinel."""
    # As DOS would have it: each line ends in CR LF, the file in 1Ah.
    (folder / "CLIENT.BAS").write_bytes(text.replace("\n", "\r\n").encode("ascii") + b"\x1a")
    command = [sys.executable, "-m", "pcbasic", "--interface=none", "--sound=False", "--output=STDOUT:"]
    command += [f"--com1=SOCKET:127.0.0.1:{port}", "--quit", "--state=/dev/null", "--run=CLIENT.BAS"]
    done = subprocess.run(command, cwd=folder, capture_output=True, timeout=PATIENCE, check=True)
    return done.stdout.decode("ascii").split("\r\n")


@needs_pcbasic
def test_prints_the_tides(gateway_port: int, tmp_path: Path) -> None:
    printed = run((CLIENTS / PROGRAM).read_text("ascii"), gateway_port, tmp_path)
    assert [line for line in printed if line] == PRINTED


@needs_pcbasic
def test_prints_an_error_and_goes_on(gateway_port: int, tmp_path: Path) -> None:
    printed = [line.rstrip() for line in run(asking(PROGRAM, "ASK TIDES NOWHERE"), gateway_port, tmp_path)]
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
