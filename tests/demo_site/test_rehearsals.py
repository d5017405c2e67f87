"""The demo's rehearsals come true against its recording, run as a user runs them."""

from pathlib import Path

from demo_site.offline import RECORDING, offline_catalogue
from gateway.rehearsal.script.reading import read_script
from gateway.rehearsal.script.steps import Say
from gateway.wire.words import REQUESTS
from tests.gateway.commands.processes import ROOT, headrace

SCRIPTS = sorted((RECORDING.parent / "rehearsals").glob("*.rehearsal"))


def test_all_of_them(tmp_path: Path) -> None:
    (tmp_path / "demo.toml").write_text(offline_catalogue())
    options = ("--config", "demo.toml", "--offline", str(RECORDING), "--clock", "recorded")
    done = headrace("rehearse", *options, *map(str, SCRIPTS), folder=tmp_path)
    assert done.returncode == 0, done.stdout.decode() + done.stderr.decode()
    assert done.stdout.count(b": as expected (") == len(SCRIPTS) == 6


def test_the_one_in_the_readme(tmp_path: Path) -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (tmp_path / "demo.toml").write_text(offline_catalogue())
    (tmp_path / "it.rehearsal").write_text(text[text.index("# Eight tides") :].partition("```")[0])
    done = headrace(
        "rehearse", "--config", "demo.toml", "--offline", str(RECORDING), "it.rehearsal", folder=tmp_path
    )
    assert done.stdout.startswith(b"it.rehearsal: as expected (3 expectations"), done.stdout.decode()


def test_every_request_word_is_in_one_of_them() -> None:
    said = {
        placed.step.text.split(b" ")[0].decode()
        for path in SCRIPTS
        for placed in read_script(path.read_text(), path.name).steps
        if isinstance(placed.step, Say) and placed.step.text
    }
    assert set(REQUESTS) - said == set()
