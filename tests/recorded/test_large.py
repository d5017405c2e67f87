"""A large body goes through a gateway that records, and one that plays, in bounded memory."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import pytest

from tests.recorded.places import PASSWORD, PLACES, folder

ROOT: Final = Path(__file__).parents[2]
SIZE: Final = int(os.environ.get("HEADRACE_LARGE_MB", "32")) << 20
"""Of zeros that stand on no disk; 200 takes five times as long and no more memory."""
SCHEMES: Final = os.environ.get("HEADRACE_LARGE", "http").split()
MEMORY: Final = 20 << 20  # about twice what it takes


def run(mode: str, place: Path, *requests: str) -> dict[str, Any]:
    command = [sys.executable, "-m", "tests.recorded.large", mode, str(place), *requests]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=True)
    told: dict[str, Any] = json.loads(done.stdout)
    return told


@pytest.fixture
def home() -> Iterator[Path]:
    """Gone afterwards: pytest would keep three of them."""
    with TemporaryDirectory(prefix="headrace-large-") as name:
        yield Path(name)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_copy_and_the_end_of_it(scheme: str, home: Path) -> None:
    with PLACES[scheme]() as place, folder() as shelf:
        assert place.folder is not None
        assert shelf.folder is not None
        place.put("big.bin", b"")
        os.truncate(place.folder / "big.bin", SIZE)
        (home / "headrace.toml").write_text(
            f'[gateway]\nstate = "state"\nwait = 300\n{place.named("far")}{shelf.named("shelf")}'
        )
        (home / "password").write_text(PASSWORD)
        requests = ("COPY far:big.bin shelf:copy.bin", f"READ far:big.bin {SIZE - 10} 100", "WHY")
        live = run("record", home, *requests)
        assert live["said"][0].startswith("250 ")
        assert live["said"][1].split() == ["200", "00001", "040", "..", "0" * 20]
        assert (shelf.folder / "copy.bin").stat().st_size == SIZE
    kept = [path.stat().st_size for path in (home / "hall").rglob("*") if path.is_file()]
    assert kept.count(SIZE) == 2  # what was read, and what was written
    played = run("play", home, *requests)
    assert played["said"] == live["said"]
    for told in (live, played):
        assert told["python"] < MEMORY
        assert told["process"] < MEMORY
