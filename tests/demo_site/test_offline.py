"""The recording that comes along is what the demo says now, and holds none of its keys."""

from pathlib import Path

from demo_site.offline import RECORDING
from demo_site.site import KEYS
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
