"""`headrace check --live` against a server whose API changes."""

from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer

from tests.gateway.commands.processes import headrace
from tests.gateway.drift.documents import TIDES

CATALOGUE = """
[source.tides]
url = "{url}/tides?station={{station}}"
rows = "$.tides[*]"
args = ["station"]
choices = {{ station = {{ mole = "mole", bar = "bar" }} }}
auth = {{ query = "key", secret = "file:key" }}
[[source.tides.field]]
name = "TIME"
at = "$.time"
width = 5
[[source.tides.field]]
name = "METRES"
at = "$.height.metres"
width = 5
kind = "fixed"
[source.busy]
url = "{url}/busy"
[[source.busy.field]]
name = "X"
width = 1
[source.sign]
url = "{url}/sign"
method = "POST"
[[source.sign.field]]
name = "X"
width = 1
"""
KEY = "an-invented-key"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[HTTPServer]:
    with HTTPServer() as made:
        (tmp_path / "headrace.toml").write_text(CATALOGUE.format(url=made.url_for("").rstrip("/")))
        (tmp_path / "key").write_text(KEY)
        made.expect_request("/tides").respond_with_json(TIDES)
        made.expect_request("/busy").respond_with_data("", 429)
        yield made


def test_as_it_was_and_then_not(server: HTTPServer, tmp_path: Path) -> None:
    headrace("record", "--site", "hall", "tides", folder=tmp_path)
    options = ("check", "--live", "--apart", "0", "--site", "hall")
    done = headrace(*options, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode().splitlines() == [
        "0 of 3 requests have drifted; 1 could not be checked",
        "ASK TIDES mole: as it was",
        "ASK TIDES bar: as it was",
        "ASK BUSY: not checked: Asked too often; wait",
    ]
    assert headrace(*options, "--quiet", folder=tmp_path).stdout == b""
    server.clear()
    new = deepcopy(TIDES)
    for tide in new["tides"]:
        tide["level"] = tide.pop("height")["metres"]
    server.expect_request("/tides", query_string={"station": "mole", "key": KEY}).respond_with_json(new)
    server.expect_request("/tides").respond_with_json(TIDES)
    kept = {path: path.read_bytes() for path in (tmp_path / "hall").rglob("*") if path.is_file()}
    done = headrace(*options, "--quiet", "TIDES", folder=tmp_path)
    assert done.returncode == 1
    assert done.stdout.decode().splitlines() == [
        "1 of 2 requests have drifted",
        "ASK TIDES mole:",
        '  METRES: "$.height.metres" finds nothing',
        "      likely now: $.level",
    ]
    assert kept == {path: path.read_bytes() for path in (tmp_path / "hall").rglob("*") if path.is_file()}
    path = tmp_path / "headrace.toml"
    path.write_text(path.read_text().replace("$.height.metres", "$.level"))
    said = headrace("say", "ASK TIDES mole", folder=tmp_path).stdout.decode()
    assert "06:57  3.10" in said


def test_what_was_not_recorded_is_looked_at_alone(server: HTTPServer, tmp_path: Path) -> None:
    headrace("record", "--site", "hall", "tides mole", folder=tmp_path)
    new = deepcopy(TIDES)
    for tide in new["tides"]:
        tide["level"] = tide.pop("height")["metres"]
    server.clear()
    server.expect_request("/tides").respond_with_json(new)
    done = headrace("check", "--live", "--apart", "0", "--site", "hall", "tides", folder=tmp_path)
    assert done.returncode == 1
    mole, bar = done.stdout.decode().split("ASK TIDES bar:")
    assert "likely now: $.level" in mole  # where the recorded value stands now
    assert '"$.height.metres" finds nothing' in bar
    assert "likely now" not in bar


def test_without_recordings_and_with_errors(server: HTTPServer, tmp_path: Path) -> None:
    server.clear()
    server.expect_request("/tides").respond_with_data("<html>moved</html>", content_type="text/html")
    server.expect_request("/busy").respond_with_data("", 404)
    done = headrace("check", "--live", "--apart", "0", folder=tmp_path)
    assert done.returncode == 1
    lines = done.stdout.decode().splitlines()
    assert lines[0] == "3 of 3 requests have drifted"
    assert lines[1].startswith("ASK TIDES mole: 551 ")
    assert lines[-1] == "ASK BUSY: 550 Not there"
    assert KEY not in done.stdout.decode() + done.stderr.decode()


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (["--live", "NOBODY"], "no source NOBODY"),
        (["--live", "sign"], "nothing to ask"),  # it changes something
        (["--live", "--site", "nowhere"], "no recordings at nowhere"),
        (["--live", "--apart", "soon"], "'soon' is no number of seconds"),
        (["tides"], "goes with --live"),
    ],
)
def test_wrong_usage(options: list[str], why: str, server: HTTPServer, tmp_path: Path) -> None:
    done = headrace("check", *options, folder=tmp_path)
    assert (done.returncode, why in done.stderr.decode()) == (2, True)
