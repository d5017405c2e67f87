"""Real client programs against the offline demo, its time standing still at the recording's: they print what
they print against the live one.
"""

import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from demo_site.offline import RECORDING, offline_catalogue
from gateway.wire.settings import Settings
from tests.clients.conftest import PATIENCE, ROOT
from tests.clients.listings.basics import pcbasic
from tests.clients.listings.test_6502 import needs_assembler
from tests.clients.programs import CLIENTS, PRINTED, asking
from tests.clients.test_pcbasic import needs_pcbasic
from tests.machines.far import Gateway
from tests.machines.mos6502 import CLOCK, Machine, assemble
from tests.machines.uart import Line, Uart

BASIC, ASSEMBLY = "tides.bas", "tides-6502.s"
MOMENT = "2024-05-17 05:30:00 5 +0000"
"""When everything was recorded, as TIME tells it."""


@pytest.fixture(scope="module")
def offline_port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """The loopback port of `serve --offline` with the demo's recording."""
    folder = tmp_path_factory.mktemp("offline")
    config = folder / "headrace.toml"
    config.write_text(offline_catalogue(state=folder / "state"), encoding="utf-8")
    command = [sys.executable, "-m", "gateway.commands.main", "serve", "--config", str(config)]
    command += ["--offline", str(RECORDING), "--clock", "recorded"]
    with subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, text=True) as served:
        assert served.stderr is not None
        said = [served.stderr.readline() for _ in range(2)]
        found = re.fullmatch(r"headrace: listening on 127\.0\.0\.1:(\d+) \(plain\)\n", said[1])
        if found:
            yield int(found[1])
        served.terminate()
        _, rest = served.communicate(timeout=PATIENCE)
    assert found, [*said, rest]
    recorded = sum(1 for _ in RECORDING.rglob("*.*.toml"))
    assert said[0].endswith(f"/recording, at 2024-05-17T05:30:00Z: {recorded} recordings\n")
    assert (served.returncode, rest) == (0, "")


@needs_pcbasic
def test_a_basic_program(offline_port: int, tmp_path: Path) -> None:
    """As tests.clients.test_pcbasic has it of the live demo."""
    printed = pcbasic((CLIENTS / BASIC).read_text("ascii"), offline_port, tmp_path)
    assert [line for line in printed if line] == PRINTED


def run_6502(port: int, words: str, folder: Path) -> list[str]:
    """What the assembly program shows that sends `words`."""
    code = assemble(asking(ASSEMBLY, words), folder)
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection:
        machine = Machine(code, Uart(Line(9600), CLOCK, Gateway(connection, Settings())))
        shown = [line for line in machine.run() if line]
        connection.shutdown(socket.SHUT_RDWR)  # so that the gateway need not wait for it when it ends
    assert machine.uart.lost == []
    return shown


@needs_assembler
@pytest.mark.parametrize(
    ("words", "count"),
    [
        ("ASK TIDES MOLE", 8),
        ("ASK WATER GATE", 1),
        ("ASK FERRIES", 4),
        ("ASK NOTICES", 3),
        ("ASK MUSEUM", 6),
        ("ASK PILOTS", 2),
        ("ASK BUSY", 1),
        ("ASK TIDES NOWHERE", 1),
        ("LIST quay:", 8),
        ("TEXT quay:notices/lamp-order.txt", 0),
    ],
)
def test_an_assembly_program(
    words: str, count: int, gateway_port: int, offline_port: int, tmp_path: Path
) -> None:
    live, offline = (run_6502(port, words, tmp_path) for port in (gateway_port, offline_port))
    assert offline == live
    assert len(offline) == count or not count
    assert offline


@needs_assembler
def test_the_time_is_the_recorded_one(offline_port: int, tmp_path: Path) -> None:
    for _ in range(2):
        (shown,) = run_6502(offline_port, "TIME", tmp_path)
        assert shown.rstrip() == MOMENT
