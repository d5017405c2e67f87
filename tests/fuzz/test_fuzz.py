"""A short seeded run of each stage's fuzzing; long ones are run by hand (DEVELOPERS.md, "Fuzzing").

In a process of its own: the fuzzer takes over the process, its signals and its end.
"""

import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.fuzz.inputs import ROOT, pieces
from tests.fuzz.stages import STAGES

pytestmark = pytest.mark.skipif(find_spec("atheris") is None, reason="atheris has no wheel for this platform")

_RUNS = {"line": 300, "request": 200, "catalogue": 250}
_OTHERS = 1_000
_SEEDS = "100"


def fuzz(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tests.fuzz", *arguments],
        cwd=ROOT.parent,
        env={**os.environ, "PYTHONHASHSEED": "0"},  # the same inputs each time
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )


@pytest.mark.parametrize("stage", STAGES)
def test_nothing_is_found(stage: str, tmp_path: Path) -> None:
    runs = _RUNS.get(stage, _OTHERS)
    done = fuzz(stage, "--runs", str(runs), "--sample", _SEEDS, "--corpus", str(tmp_path))
    assert done.returncode == 0, done.stdout[-4_000:] + done.stderr[-4_000:]
    assert f"Done {runs} runs" in done.stderr
    assert list((tmp_path / "corpus").iterdir()), "no input went a new way: nothing was watched"


def test_a_finding_ends_the_run_and_can_be_run_again(tmp_path: Path) -> None:
    finding = tmp_path / "finding"
    finding.write_bytes(b"\n")
    assert fuzz("broken", "--again", str(finding)).returncode == 0
    done = fuzz("broken", "--runs", "20000", "--corpus", str(tmp_path))
    assert done.returncode != 0
    assert "AssertionError: told ASK" in done.stdout
    (found,) = tmp_path.glob("crash-*")
    assert fuzz("broken", "--again", str(found)).returncode != 0


@pytest.mark.parametrize("seed", [0, 1, 255])
def test_pieces_are_all_of_it(seed: int) -> None:
    data = bytes(range(256)) * 3
    found = pieces(data, seed)
    assert b"".join(found) == data
    assert all(1 <= len(each) <= 64 for each in found)
    assert len({len(each) for each in found}) > 1
