"""`headrace member`, and LOGIN at a gateway that runs meanwhile."""

import getpass
import re
import stat
import sys
import time
from pathlib import Path

import pyotp
import pytest

from gateway.commands import membership
from gateway.commands.main import main
from gateway.testing.clients.line import Line
from tests.gateway.commands.processes import Serving, headrace, serving

CATALOGUE = """[[listen]]
port = 0
rights = "guests"
[rights.guests]
places = []
sources = []
[rights.crew]
write = ["club"]
[place.club]
base = "file://{folder}/club/"
write = true
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "club").mkdir()
    (tmp_path / "headrace.toml").write_text(CATALOGUE.format(folder=tmp_path))
    return tmp_path


@pytest.fixture
def here(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(folder)
    return folder


def typed(monkeypatch: pytest.MonkeyPatch, *words: str) -> None:
    """What is typed at a terminal, one word for each time that it asks."""
    left = list(words)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(getpass, "getpass", lambda prompt: left.pop(0))


def test_add_list_and_remove(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "open sesame", "open sesame")
    assert main(["member", "add", "Anna", "--rights", "crew"]) == 0
    kept = here / "headrace-members.toml"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert "sesame" not in kept.read_text()
    assert main(["member", "add", "bea", "--code"]) == 0
    out = capsys.readouterr()
    key = re.search(r"authenticator, shown this once: ([A-Z2-7]{32})", out.out)
    assert key is not None
    assert f"otpauth://totp/headrace:bea?secret={key[1]}&issuer=headrace" in out.out
    assert "anna may log in and do crew" in out.err
    assert main(["member", "list"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "anna         crew         password",
        "bea          (everything) code",
    ]
    typed(monkeypatch, "another one", "another one")
    before = membership.read_file(kept, {"CREW"})["ANNA"]
    assert main(["member", "add", "ANNA"]) == 0  # another secret, the rights as they were
    after = membership.read_file(kept, {"CREW"})["ANNA"]
    assert (after.rights, after.password != before.password) == ("CREW", True)
    assert main(["member", "remove", "anna"]) == 0
    assert list(membership.read_file(kept, {"CREW"})) == ["BEA"]
    assert [each.name for each in here.iterdir() if "members" in each.name] == [kept.name]


@pytest.mark.parametrize(
    ("arguments", "words", "said"),
    [
        (("add", "http"), (), "'http' is no name"),
        (("add", "anna", "--rights", "crow"), (), "no rights 'crow'; did you mean crew?"),
        (("add", "anna"), ("short", "short"), "a password has 8 to 200 characters"),
        (("add", "anna"), ("long enough", "not the same"), "the two differ"),
        (("remove", "anna"), (), "no member 'anna'"),
    ],
)
def test_what_will_not_do(
    here: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    words: tuple[str, ...],
    said: str,
) -> None:
    typed(monkeypatch, *words)
    assert main(["member", *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not (here / "headrace-members.toml").exists()


def test_no_catalogue_is_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["member", "list"]) == 2
    assert "no catalogue at headrace.toml" in capsys.readouterr().err


def test_characters_that_a_small_machine_may_lack_are_told_of(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "Grüße aus dem Tal", "Grüße aus dem Tal")
    assert main(["member", "add", "anna"]) == 0
    assert "may lack some of these" in capsys.readouterr().err


def test_a_file_that_others_may_use_is_refused(folder: Path) -> None:
    """CWE-732."""
    assert headrace("member", "list", folder=folder).returncode == 0
    kept = folder / "headrace-members.toml"
    kept.write_text("")
    for mode, code in ((0o600, 0), (0o640, 0), (0o644, 2), (0o660, 2), (0o602, 2)):
        kept.chmod(mode)
        done = headrace("check", folder=folder)
        assert done.returncode == code
        assert (b"chmod 600" in done.stderr) == (code == 2)


def test_a_folder_that_takes_no_file(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (here / "headrace.toml").read_text()
    (here / "headrace.toml").write_text(text + '[gateway]\nmembers = "nowhere/members.toml"\n')
    assert main(["member", "add", "anna", "--code"]) == 1
    assert "cannot write" in capsys.readouterr().err


def answer(line: Line, request: str) -> str:
    """The code and sentence of a reply of one record, or the code alone."""
    until = time.monotonic() + 8
    line.send(request.encode() + b"\r", 8)
    status = line.take_until(b"\r\n", until).decode()
    records = [line.take_until(b"\r\n", until).decode().rstrip() for _ in range(int(status[4:9]))]
    return " ".join([status[:3], *records])


def port_of(gateway: Serving) -> int:
    return int(gateway.wait_for(r"listening on 127\.0\.0\.1:([0-9]+) ")[1])


def test_a_gateway_that_runs_takes_new_members_and_lets_go_of_old_ones(folder: Path) -> None:
    """By password and by code, over a real socket; nothing of either is in its log or in its trace."""
    with serving("--log", "debug", "--trace", "trace.txt", folder=folder) as gateway:
        port = port_of(gateway)
        line = Line("127.0.0.1", port, 8)
        assert answer(line, "LIST club:") == "532 You may not read CLUB"
        done = headrace("member", "add", "anna", "--rights", "crew", folder=folder, given=b"open sesame 1\n")
        assert done.returncode == 0, done.stderr
        gateway.wait_for("catalogue reloaded")
        added = headrace("member", "add", "bea", "--code", folder=folder)
        key = re.search(rb"once: ([A-Z2-7]+)", added.stdout)
        assert key is not None
        gateway.wait_for("catalogue reloaded")
        assert answer(line, "LIST club:") == "530 LOGIN first to read CLUB"
        assert answer(line, 'LOGIN anna "open sesame 2"') == "535 LOGIN was not accepted"
        assert answer(line, 'LOGIN anna "open sesame 1"') == "230"
        assert answer(line, "LIST club:") == "200"
        assert answer(line, "MKDIR club:new") == "250"
        code = pyotp.TOTP(key[1].decode()).now()
        other = Line("127.0.0.1", port, 8)
        assert answer(other, f"LOGIN bea {code}") == "230"
        assert answer(other, "LIST club:").startswith("200")
        assert answer(other, "WHY").startswith("200 REQUEST  LIST club:")
        headrace("member", "remove", "anna", folder=folder)
        gateway.wait_for("catalogue reloaded")
        assert answer(line, "LIST club:") == "530 LOGIN first to read CLUB"
        line.close()
        other.close()
        assert gateway.end() == 0
        told = "".join(gateway.said) + (folder / "trace.txt").read_text()
        assert "LOGIN" in told
        assert "sesame" not in told
        assert code not in told
        assert key[1].decode() not in told
        for path in (folder / "headrace-state").rglob("*"):
            assert not path.is_file() or b"sesame" not in path.read_bytes()


def test_members_kept_elsewhere_since_a_reload_are_looked_after_too(folder: Path) -> None:
    """Whoever is removed there may do nothing more, though the gateway began with another file."""
    with serving("--log", "warning", folder=folder) as gateway:
        line = Line("127.0.0.1", port_of(gateway), 8)
        text = (folder / "headrace.toml").read_text()
        (folder / "headrace.toml").write_text(text + '[gateway]\nmembers = "others.toml"\n')
        gateway.wait_for("catalogue reloaded")
        headrace("member", "add", "anna", "--rights", "crew", folder=folder, given=b"open sesame 1\n")
        gateway.wait_for("catalogue reloaded")
        assert answer(line, 'LOGIN anna "open sesame 1"') == "230"
        assert answer(line, "LIST club:") == "200"
        headrace("member", "remove", "anna", folder=folder)
        gateway.wait_for("catalogue reloaded")
        assert answer(line, "LIST club:") == "532 You may not read CLUB"  # nobody is left who could LOGIN
        line.close()
        assert gateway.end() == 0


def test_say_logs_in_too(folder: Path) -> None:
    headrace("member", "add", "anna", folder=folder, given=b"open sesame\n")
    done = headrace("say", 'LOGIN anna "open sesame"', "LOGIN anna no", folder=folder)
    assert [each[:3] for each in done.stdout.split(b"\r\n")[:2]] == [b"230", b"535"]


def test_a_days_counts_outlive_a_start(folder: Path) -> None:
    text = (folder / "headrace.toml").read_text()
    (folder / "headrace.toml").write_text(text.replace("sources = []", "sources = []\nrequests = 3", 1))
    told = []
    for _ in range(2):
        with serving(folder=folder) as gateway:
            line = Line("127.0.0.1", port_of(gateway), 8)
            told += [answer(line, "NOOP")[:3] for _ in range(2)]
            line.close()
            assert gateway.end() == 0
    assert told == ["200", "200", "200", "429"]
