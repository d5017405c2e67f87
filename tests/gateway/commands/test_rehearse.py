"""`headrace rehearse` and `serve --trace`, as their user runs them."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from gateway.commands import rehearse
from tests.gateway.commands.processes import headrace, serving
from tests.gateway.commands.test_serve import ask, port_of

CATALOGUE = """
[[listen]]
port = 0
[[listen]]
port = 0
greeting = true
[place.shelf]
base = "{shelf}/"
write = true
"""
SCRIPT = """# A note is kept and read.
say STORE shelf:note.txt
hear 350 {any}
say >Tide at noon
say .
hear 250 {any}
say TEXT shelf:note.txt
hear 200 00001 040 ..
hear|Tide at {like noon|night} {any}|
say BYE
skip 1
closed
dial other listener 2
hear 220 00001 {any}
skip 1
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (tmp_path / "headrace.toml").write_text(CATALOGUE.format(shelf=shelf.as_uri()))
    (tmp_path / "good.rehearsal").write_text(SCRIPT)
    (tmp_path / "bad.rehearsal").write_text(SCRIPT.replace("200 00001", "200 00002"))
    return tmp_path


def test_good_and_bad(folder: Path) -> None:
    done = headrace("rehearse", "--junit", "out.xml", "good.rehearsal", "bad.rehearsal", folder=folder)
    assert done.returncode == 1
    lines = done.stdout.decode().splitlines()
    assert lines[0].startswith("good.rehearsal: as expected (8 expectations")
    assert lines[1:] == [
        "bad.rehearsal:8: differs",
        "  expected  hear|200 00002 040 ..|",
        "  came      hear|200 00001 040 ..|",
        "                         ^",
        "bad.rehearsal: 1 difference",
    ]
    suite = ET.parse(folder / "out.xml").getroot()[0]
    assert [(case.get("name"), len(case)) for case in suite] == [("good.rehearsal", 0), ("bad.rehearsal", 1)]
    assert not (folder / "headrace-state").exists()  # each gateway had a state folder of its own


def test_accepted_it_is_as_expected(folder: Path) -> None:
    path = folder / "bad.rehearsal"
    path.chmod(0o640)
    done = headrace("rehearse", "--accept", "good.rehearsal", "bad.rehearsal", folder=folder)
    assert done.returncode == 0
    assert re.findall(r"^(.+): written anew", done.stdout.decode(), re.MULTILINE) == ["bad.rehearsal"]
    assert path.read_text() == SCRIPT
    assert path.stat().st_mode & 0o777 == 0o640
    assert headrace("rehearse", "bad.rehearsal", folder=folder).returncode == 0


@pytest.mark.parametrize(
    ("options", "text", "why"),
    [
        ([], "say NOOP\ntell", "x.rehearsal:2:1: no statement"),
        ([], "# nothing yet\n", "x.rehearsal: no statement in it"),
        ([], "", "cannot read gone.rehearsal: No such file"),
        (["--offline", "nowhere"], "say NOOP", "no recordings at nowhere"),
        (["--site", "nowhere"], "say NOOP", "no recordings at nowhere"),
        (["--at", "here"], "say NOOP", "'here' is no HOST:PORT"),
        (["--at", "::1:99999"], "say NOOP", "is no HOST:PORT"),
        (["--at", "here:1", "--site", "hall"], "say NOOP", "no recordings, faults or clock"),
        (["--at", "here:1", "--clock", "recorded"], "say NOOP", "no recordings, faults or clock"),
        (["--config", "none.toml"], "say NOOP", "no catalogue at none.toml"),
    ],
)
def test_what_is_wrong_is_2(options: list[str], text: str, why: str, folder: Path) -> None:
    (folder / "x.rehearsal").write_text(text)
    name = "x.rehearsal" if text else "gone.rehearsal"
    done = headrace("rehearse", *options, name, folder=folder)
    assert done.returncode == 2
    assert why in done.stderr.decode()
    assert "Traceback" not in done.stderr.decode()


def test_a_junit_file_that_cannot_be_written_is_1(folder: Path) -> None:
    done = headrace("rehearse", "--junit", "no/out.xml", "good.rehearsal", folder=folder)
    assert (done.returncode, "cannot write" in done.stderr.decode()) == (1, True)


def test_what_is_written_into_a_device_or_through_a_link(folder: Path) -> None:
    done = headrace("rehearse", "--junit", "/dev/stdout", "good.rehearsal", folder=folder)
    assert done.returncode == 0
    assert b"<testsuites" in done.stdout
    (folder / "link.rehearsal").symlink_to("bad.rehearsal")
    assert headrace("rehearse", "--accept", "link.rehearsal", folder=folder).returncode == 0
    assert (folder / "link.rehearsal").is_symlink()
    assert (folder / "bad.rehearsal").read_text() == SCRIPT


def test_a_place_where_nothing_can_be_written_leaves_nothing(folder: Path) -> None:
    (folder / "taken").mkdir()
    done = headrace("rehearse", "--junit", "taken", "good.rehearsal", folder=folder)
    assert (done.returncode, b"cannot write taken: " in done.stderr) == (1, True)
    assert b"Traceback" not in done.stderr
    assert not [each for each in folder.iterdir() if each.name.startswith(".")]


def test_what_the_gateway_hung_up_on_is_not_written(folder: Path) -> None:
    path = folder / "bad.rehearsal"
    path.write_text(
        text := "say BYE\nhear 221 00000 000 ..\nsay ASK TIDES\nhear 200 00002 003 ..\nhear abc\n"
    )
    done = headrace("rehearse", "--accept", "bad.rehearsal", folder=folder)
    assert done.returncode == 1
    assert path.read_text() == text


@pytest.mark.parametrize("text", ["[::1]:8128", "pi.example:1"])
def test_addresses(text: str) -> None:
    assert rehearse._address(text) in (("::1", 8128), ("pi.example", 1))


def test_a_session_that_was_traced_rehearses_at_an_address(folder: Path) -> None:
    with serving("--trace", "day.rehearsal", folder=folder) as gateway:
        port = port_of(gateway)
        said = ask(port, "HELP\rNOOP again\rSTORE shelf:a\r>x\r.\rTEXT shelf:a\rLIST shelf:")
        gateway.process.kill()  # the script is whole up to its last line
        gateway.process.wait()
    assert "HEADRACE" in said
    traced = folder / "day.rehearsal"
    assert traced.stat().st_mode & 0o777 == 0o600
    with serving(folder=folder) as gateway:
        at = f"127.0.0.1:{port_of(gateway)}"
        done = headrace("rehearse", "--at", at, "day.rehearsal", folder=folder)
        assert done.returncode == 0, done.stdout.decode()
        assert re.search(r"as expected \(\d\d expectations", done.stdout.decode())
        again = headrace("serve", "--trace", "day.rehearsal", folder=folder)
    assert again.returncode == 2
    assert "day.rehearsal: File exists; name a new file" in again.stderr.decode()
