"""The same client in two BASICs that read a serial device as a file: bwbasic and yabasic over a pty."""

import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.clients.programs import CLIENTS, PRINTED, asking

PATIENCE = 120  # seconds; it takes well under one
BASICS = [
    pytest.param(
        name,
        marks=pytest.mark.skipif(
            shutil.which(name) is None or shutil.which("socat") is None,
            reason=f"{name.upper()} OR SOCAT IS MISSING: client not run (apt-get install {name} socat)",
        ),
    )
    for name in ("bwbasic", "yabasic")
]


@pytest.fixture
def folder(gateway_port: int, tmp_path: Path) -> Iterator[Path]:
    """A folder whose file `tty` is a serial line to the gateway."""
    command = ["socat", "PTY,link=./tty,raw,echo=0", f"TCP:127.0.0.1:{gateway_port}"]
    with subprocess.Popen(command, cwd=tmp_path) as bridge:
        try:
            deadline = time.monotonic() + PATIENCE
            while not (tmp_path / "tty").exists():
                assert bridge.poll() is None, "socat ended before it made the line"
                assert time.monotonic() < deadline, "socat made no line"
                time.sleep(0.02)
            yield tmp_path
        finally:
            bridge.terminate()


def run(basic: str, text: str, folder: Path) -> list[str]:
    """What the program prints, without the interpreter's own greeting and blank lines."""
    (folder / "client.bas").write_text(text, "ascii")
    done = subprocess.run(
        [basic, "client.bas"],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=PATIENCE,
        check=True,
    )
    lines = [line.strip() for line in done.stdout.decode("ascii").splitlines()]
    return [line for line in lines if line and not line.startswith(("Bywater BASIC", "Copyright"))]


@pytest.mark.parametrize("basic", BASICS)
def test_prints_the_tides(basic: str, folder: Path) -> None:
    text = (CLIENTS / f"tides-{basic}.bas").read_text("ascii")
    assert run(basic, text, folder) == PRINTED


@pytest.mark.parametrize("basic", BASICS)
def test_prints_an_error_and_goes_on(basic: str, folder: Path) -> None:
    code, sentence, sentinel = run(basic, asking(f"tides-{basic}.bas", "ASK TIDES NOWHERE"), folder)
    assert code.startswith("ERROR 5")
    assert sentence
    assert sentinel == "END OF TIDES"


@pytest.mark.parametrize("basic", ["bwbasic", "yabasic"])
def test_the_device_stands_in_one_place(basic: str) -> None:
    assert (CLIENTS / f"tides-{basic}.bas").read_text("ascii").count("./tty") == 1
