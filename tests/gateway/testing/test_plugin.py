"""The fixtures as pytest finds them: in a project of somebody else's, in a process of its own."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
EXAMPLE = (Path(__file__).parent / "example.txt").read_text(encoding="utf-8")
LEFT_OUT = ("-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:asyncio")  # which others may not have
FIXTURES = ("headrace_gateway", "headrace_client", "headrace_upstream", "headrace_site")


def run_pytest(folder: Path, *arguments: str) -> tuple[int, str]:
    """Exit code and output. Nothing of this repository is on the path but what is installed."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-W", "error", *LEFT_OUT, *arguments],
        cwd=folder,
        env={name: value for name, value in os.environ.items() if not name.startswith(("PYTEST_", "COV_"))},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=60,
        check=False,
        text=True,
    )
    return done.returncode, done.stdout


def counts(output: str) -> dict[str, int]:
    return {what: int(number) for number, what in re.findall(r"(\d+) (\w+)", output.splitlines()[-1])}


def test_the_documents_have_the_example_that_is_run() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"<!-- tests -->\n```python\n(.*?)```\n", text, re.DOTALL)
    assert found is not None
    assert found[1] == EXAMPLE


def test_the_example(tmp_path: Path) -> None:
    (tmp_path / "test_tides.py").write_text(EXAMPLE, encoding="utf-8")
    code, output = run_pytest(tmp_path, "-q")
    assert code == 0, output
    assert {name: number for name, number in counts(output).items() if name != "in"} == {"passed": 9}


def test_an_example_that_is_wrong_fails(tmp_path: Path) -> None:
    """Each of its tests can fail: with one value of the far server changed, or one failure less."""
    (tmp_path / "test_height.py").write_text(EXAMPLE.replace('"height": 4.1', '"height": 4.2'))
    (tmp_path / "test_fast.py").write_text(EXAMPLE.replace("record_seconds=0.1", "record_seconds=0.0"))
    (tmp_path / "test_good.py").write_text(EXAMPLE.replace(".fail(failure)", ""))
    (tmp_path / "test_kept.py").write_text(EXAMPLE.replace('keep = "10m"', 'keep = "5m"'))
    (tmp_path / "test_loose.py").write_text(EXAMPLE.replace("tides.refuse()", ""))
    code, output = run_pytest(tmp_path, "-q", "-rf")
    assert code == 1
    failed = set(re.findall(r"^FAILED ([^\s\[]+)", output, re.MULTILINE))
    assert failed == {
        "test_height.py::test_a_record_a_tide",
        "test_height.py::test_a_machine_that_needs_its_time",
        "test_fast.py::test_a_machine_that_needs_its_time",
        "test_good.py::test_a_bad_day",
        "test_kept.py::test_kept_for_ten_minutes",
    }  # offline stays offline, though the far server is there


def test_its_fixtures_are_listed_with_what_they_give(tmp_path: Path) -> None:
    code, output = run_pytest(tmp_path, "--fixtures")
    assert code == 0
    for name in FIXTURES:
        assert re.search(rf"^{name} -- .*plugin\.py:\d+\n    {name}\(.* -> ", output, re.MULTILINE)


def test_a_project_that_does_not_use_it_pays_nothing(tmp_path: Path) -> None:
    (tmp_path / "test_other.py").write_text(
        "import json, pathlib, sys\n"
        "def test_nothing(request):\n"
        "    names = [name for name in sys.modules if name.partition('.')[0] in ('gateway', 'adapters')]\n"
        "    pathlib.Path('names').write_text(json.dumps(names))\n"
    )
    code, output = run_pytest(tmp_path, "-q")
    assert code == 0, output
    names = json.loads((tmp_path / "names").read_text())
    assert sorted(names) == ["gateway", "gateway.testing", "gateway.testing.plugin"]


TEARDOWN = """
import logging
import threading

CATALOGUE = '''
[source.tides]
url = "https://tides.example/mole.json"

[[source.tides.field]]
name = "TIME"
at = "$.at"
width = 5
'''

def test_an_error_of_the_gateways_own(headrace_gateway):
    headrace_gateway(CATALOGUE)
    logging.getLogger("gateway.service").error("a disk is full")

def test_no_reply(headrace_gateway, headrace_upstream, headrace_client):
    far = headrace_upstream()
    far.on("/mole.json").silent()
    gateway = headrace_gateway(CATALOGUE, instead={"https://tides.example": far.url})
    headrace_client(gateway).ask("ASK TIDES", timeout=0.2)

def test_all_is_gone_again():
    assert not [each for each in threading.enumerate() if "headrace" in each.name]
    assert logging.getLogger("gateway").handlers == []
"""


def test_what_a_failure_shows(tmp_path: Path) -> None:
    (tmp_path / "test_failing.py").write_text(TEARDOWN)
    code, output = run_pytest(tmp_path, "-q", "-rfE")
    assert code == 1
    assert "ERROR test_failing.py::test_an_error_of_the_gateways_own" in output
    assert re.search(r"GatewayErrors: a gateway logged errors:\n.*a disk is full", output)
    unmet = "Unmet: the reply to 'ASK TIDES' did not come within 0.2 s: nothing more came in time"
    assert re.search(rf"ask\(\"ASK TIDES\", timeout=0\.2\)\nE +\S+{re.escape(unmet)}\n", output), (
        "the test's own line is the last that is shown"
    )
    found = counts(output)
    assert (found["passed"], found["failed"], found["error"]) == (2, 1, 1)


@pytest.mark.parametrize("arguments", [("-p", "no:headrace"), ("-p", "no:headrace", "--strict-config")])
def test_it_can_be_left_out(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    (tmp_path / "test_tides.py").write_text(EXAMPLE, encoding="utf-8")
    code, output = run_pytest(tmp_path, "-q", *arguments)
    assert code == 1
    assert re.search(r"fixture 'headrace_\w+' not found", output)
