"""The recording that comes along is what the demo says now, and holds none of its keys."""

import re
from pathlib import Path

from demo_site.offline import FAULTS, RECORDING, offline_catalogue
from demo_site.site import KEYS
from tests.gateway.commands.processes import headrace
from tests.recording import contents, differences, record


def test_the_recording_is_what_the_demo_says(tmp_path: Path) -> None:
    record(tmp_path / "made")
    again = "write it anew: python -m tests.recording --write"
    assert differences(contents(tmp_path / "made"), contents(RECORDING)) == [], again


def test_no_key_is_in_it() -> None:
    everything = b"\n".join(contents(RECORDING).values())
    for path in KEYS.glob("*-*.txt"):
        assert path.read_bytes().strip() not in everything, path.name
    assert b"gullmarrow.example" in everything
    assert b"127.0.0.1" not in everything


def test_its_fault_plan_goes_as_it_says(tmp_path: Path) -> None:
    (tmp_path / "demo.toml").write_text(offline_catalogue())
    wanted = {
        "ASK TIDES MOLE": ["450", "450"],
        "ASK TIDES GATE": ["426", "200"],
        "ASK WATER BAR": ["429", "429"],
        "ASK WATER GATE": ["200"],
        "ASK FERRIES": ["554", "554"],
        "ASK NEWS": ["551", "551"],  # what came is kept, good or not
        "LIST quay:": ["425", "425", "200"],
    }
    requests = [request for request, codes in wanted.items() for _ in codes]
    options = ("--config", "demo.toml", "--offline", str(RECORDING), "--faults", str(FAULTS))
    said = headrace("say", *options, *requests, folder=tmp_path).stdout.decode()
    found = re.findall(r"^(\d{3}) \d{5} \d{3} \S\S", said, re.MULTILINE)
    assert found == [code for codes in wanted.values() for code in codes]
