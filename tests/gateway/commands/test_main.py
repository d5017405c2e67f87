"""The command line as a whole."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from gateway import VERSION
from gateway.commands.main import main, parser
from tests.gateway.commands.processes import HEADRACE, ROOT, headrace

COMMANDS = (
    "demo",
    "serve",
    "say",
    "check",
    "record",
    "site",
    "rehearse",
    "line",
    "listing",
    "spool",
    "member",
    "unit",
    "doctor",
)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_and_takes_config(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    said = capsys.readouterr().out
    assert "--config FILE" in said
    assert "Exit codes: 0 done; 1 it ran and failed; 2 wrong usage or configuration." in " ".join(
        said.split()
    )


def test_help_lists_the_commands(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    said = capsys.readouterr().out
    assert all(re.search(rf"^ +{command} ", said, re.MULTILINE) for command in COMMANDS)


def test_the_version_is_the_packages() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert f'version = "{VERSION}"' in text
    assert parser().prog == "headrace"


LOADED = """
import gc, sys
from gateway.commands.main import main
for argv in (["check", "--config", "none"], None):
    sys.argv = ["headrace", "check", "--config", "none"]
    main(argv)
    print(gc.isenabled(), gc.get_freeze_count() > 10_000)
"""


def test_the_garbage_collector_leaves_alone_what_was_loaded() -> None:
    """In a process of its own, not in one that goes on with something else."""
    done = subprocess.run([sys.executable, "-c", LOADED], cwd=ROOT, capture_output=True, check=True)
    assert done.stdout.decode().splitlines() == ["True False", "True True"]


def test_output_into_a_closed_pipe_is_no_traceback() -> None:
    command = [*HEADRACE, "check", "--explain"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()
    assert process.returncode == 1


def test_output_onto_a_full_disk_is_one_line() -> None:
    """/dev/full is Linux's device that is always full."""
    with Path("/dev/full").open("wb") as full:
        command = [*HEADRACE, "check", "--explain"]
        done = subprocess.run(command, cwd=ROOT, stdout=full, stderr=subprocess.PIPE, check=False)
    assert (done.returncode, done.stderr) == (1, b"headrace: cannot write: No space left on device\n")


def test_names_of_any_kind_can_be_shown_on_any_terminal(tmp_path: Path) -> None:
    """An old terminal's charset, and a URL with a letter beyond it."""
    site = tmp_path / "site"
    (site / "https/tides.example").mkdir(parents=True)
    (site / "site.toml").write_text("format = 1\n")
    (site / "https/tides.example/x.1.toml").write_text(
        'at = 2026-05-17T12:00:00Z\n[request]\nmethod = "GET"\nurl = "https://tides.example/\u2126"\n'
        "[response]\nstatus = 404\n",
        encoding="utf-8",
    )
    done = headrace("site", "list", "site", folder=tmp_path, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"\\u2126" in done.stdout
