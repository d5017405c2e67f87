"""Descriptors: the soft limit is raised as far as the hard one lets it, and running out is said once."""

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

import gateway
from adapters import limits
from gateway.service.running import descriptors
from gateway.service.running.descriptors import Complaints, make_room, no_core_dumps

ROOT = Path(gateway.__file__).parents[1]
SCRIPT = """
import resource, sys
from gateway.service.running.descriptors import make_room
soft, hard, clients, ports = map(int, sys.argv[1:])
resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
print(make_room(clients, ports), *resource.getrlimit(resource.RLIMIT_NOFILE))
"""
SPARE = limits.TURNED_AWAY + limits.SPARE_DESCRIPTORS


@pytest.mark.parametrize(
    ("soft", "hard", "ports", "fit", "soft_after"),
    [
        (1024, 4096, 0, 1000, 1000 + SPARE),
        (3000, 4096, 0, 1000, 3000),
        (500, 1024, 0, 1024 - SPARE, 1024),
        (1024, 4096, 3, 1000, 1000 + 3 * limits.TURNED_AWAY + SPARE),
    ],
)
def test_room_for_the_default_number_of_clients(
    soft: int, hard: int, ports: int, fit: int, soft_after: int
) -> None:
    command = [sys.executable, "-c", SCRIPT, str(soft), str(hard), "1000", str(ports)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(fit), str(soft_after), str(hard)]
    assert ("only" in done.stderr) == (fit < 1000)


async def test_running_out_is_said_once(caplog: pytest.LogCaptureFixture) -> None:
    complaints, loop = Complaints(), asyncio.get_running_loop()
    for _ in range(100):
        complaints(loop, {"message": "socket.accept() out of system resource"})
    assert len(caplog.records) == 1
    complaints(loop, {"message": "something else"})
    assert len(caplog.records) == 2


def test_a_system_without_limits_has_room_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(descriptors, "resource", None)
    assert make_room(1_000_000, 9) == 1_000_000
    no_core_dumps()
