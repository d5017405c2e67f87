"""`headrace unit`: what it prints, and what systemd itself says of that (systemd-analyze(1))."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.gateway.commands.processes import headrace

WHOLE = """[gateway]
state = "/var/lib/headrace"
members = "/var/lib/headrace/members.toml"
wait = 20
[[listen]]
port = 23
[[listen]]
device = "/dev/ttyUSB0"
[place.club]
base = "file://{folder}/the%20club/"
write = true
[place.library]
base = "file://{folder}/library/"
[place.far]
base = "ftps://files.example/"
user = "reader"
secret = "credential:far-key"
[place.other]
base = "ftps://others.example/"
user = "reader"
secret = "file:key"
"""
LEAST = '[gateway]\nstate = "/var/lib/headrace/own"\nmembers = "/var/lib/headrace/own/m.toml"\n'


def made(folder: Path, text: str, *what: str) -> tuple[int, str, str]:
    """The exit code, and what was printed."""
    (folder / "headrace.toml").write_text(text.format(folder=folder))
    done = headrace("unit", *what, folder=folder)
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def test_what_the_catalogue_needs_and_no_more(tmp_path: Path) -> None:
    code, unit, said = made(tmp_path, WHOLE)
    assert code == 0
    lines = unit.splitlines()
    assert f"serve --config {tmp_path}/headrace.toml" in unit
    for line in (
        "StateDirectory=headrace",
        "TimeoutStopSec=35",
        "LoadCredential=far-key",
        f'ReadWritePaths="{tmp_path}/the club"',
        "CapabilityBoundingSet=CAP_NET_BIND_SERVICE",
        "DeviceAllow=/dev/ttyUSB0 rw",
        "DynamicUser=yes",
        "LimitCORE=0",
    ):
        assert line in lines, line
    assert "library" not in unit
    assert "PrivateDevices" not in unit
    assert f"{tmp_path}/the club is written by the unit's own user" in said
    code, unit, said = made(tmp_path, LEAST)
    assert (code, said) == (0, "")
    assert {
        "PrivateDevices=yes",
        "CapabilityBoundingSet=",
        "PrivateUsers=yes",
        "StateDirectory=headrace/own",
    } <= set(unit.splitlines())


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("", 1, 'state = "/var/lib/headrace"'),
        (WHOLE.replace("credential:far-key", "env:FAR_KEY"), 1, 'secret = "credential:far-key"'),
        (
            LEAST.replace("own/m.toml", "m.toml"),
            0,
            "members: the unit can read them in its state folder only",
        ),
        ("[nonsense]\n", 2, "nonsense"),
    ],
)
def test_what_a_unit_cannot_have(tmp_path: Path, text: str, code: int, said: str) -> None:
    found, unit, told = made(tmp_path, text)
    assert found == code
    assert said in told
    assert bool(unit) == (code == 0)


def analysed(*arguments: str) -> str:
    """What systemd-analyze says; the program is on every system that would use a unit."""
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not installed")
    done = subprocess.run([program, *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def test_ports_that_systemd_opens(tmp_path: Path) -> None:
    """systemd.socket(5); whoever is given low ports needs no right to them (capabilities(7))."""
    text = WHOLE + '[[listen]]\nhost = "::1"\nport = 8128\n[[listen]]\nhost = "localhost"\n[hear.8200]\n'
    code, unit, said = made(tmp_path, text, "socket")
    assert (code, said) == (0, "")
    lines = [line.removeprefix("ListenStream=") for line in unit.splitlines() if "ListenStream" in line]
    assert lines == ["127.0.0.1:23", "[::1]:8128", "127.0.0.1:8128", "127.0.0.1:8200"]
    _, service, _ = made(tmp_path, text, "activated")
    assert {"Requires=headrace.socket", "CapabilityBoundingSet=", "PrivateUsers=yes"} <= set(
        service.splitlines()
    )
    (tmp_path / "headrace.service").write_text(
        re.sub(r"(?m)^ExecStart=\S+", f"ExecStart={sys.executable}", service)
    )
    (tmp_path / "headrace.socket").write_text(unit)
    said = analysed(
        "verify", "--man=no", str(tmp_path / "headrace.service"), str(tmp_path / "headrace.socket")
    )
    assert str(tmp_path) not in said
    assert "headrace" not in said


@pytest.mark.parametrize("text", [WHOLE, LEAST])
def test_systemd_takes_it_and_finds_little_exposed(tmp_path: Path, text: str) -> None:
    """`verify` finds nothing wrong; `security` says 1.3 of 10 where this was written (systemd 252), and 1.9
    with a device and a low port.
    """
    _, unit, _ = made(tmp_path, text)
    unit = re.sub(r"^ExecStart=\S+", f"ExecStart={sys.executable}", unit, flags=re.MULTILINE)
    path = tmp_path / "headrace.service"
    path.write_text(unit)
    assert str(path) not in analysed("verify", "--man=no", str(path))
    found = re.search(
        r"Overall exposure level for \S+: ([0-9.]+)",
        analysed("security", "--offline=yes", "--no-pager", str(path)),
    )
    assert found is not None
    assert float(found[1]) <= 2.0
