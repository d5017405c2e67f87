"""`headrace doctor`: each thing that it finds, and that it finds nothing where nothing is wrong."""

import os
import resource
import shutil
from collections import namedtuple
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme

from adapters import limits
from gateway.commands import doctor
from gateway.commands.findings import Patient
from gateway.commands.wiring import read_catalogue
from gateway.service.spool import aside
from gateway.service.spool.spool import Spool
from tests.gateway.commands.processes import headrace
from tests.gateway.service.spool.jobs import kept

NOW = datetime(2026, 11, 27, tzinfo=UTC).timestamp()
GOOD = '[place.club]\nbase = "ftp://127.0.0.1/"\nuser = "u"\nsecret = "file:key"\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "key").write_text("secret\n")
    (tmp_path / "key").chmod(0o600)
    return tmp_path


def patient(folder: Path, text: str = GOOD, now: float = NOW) -> Patient:
    (folder / "headrace.toml").write_text(text)
    return Patient(read_catalogue(folder / "headrace.toml"), folder, now)


def told(folder: Path, text: str) -> tuple[int, str]:
    (folder / "headrace.toml").write_text(text)
    done = headrace("doctor", folder=folder)
    return done.returncode, (done.stdout + done.stderr).decode()


def test_nothing_to_be_done(folder: Path) -> None:
    assert told(folder, GOOD) == (0, "Nothing to be done.\n")


def test_what_is_to_be_done_and_what_is_to_be_thought_of(folder: Path) -> None:
    (folder / "key").chmod(0o644)
    code, said = told(folder, GOOD)
    assert code == 1
    assert said == f"TO DO: file:key: everybody on this computer may read it. chmod 600 {folder}/key\n"
    (folder / "key").chmod(0o600)
    code, said = told(
        folder, GOOD + '[[listen]]\nhost = "0.0.0.0"\nport = 0\n[[listen]]\ndevice = "/dev/nowhere"\n'
    )
    assert code == 0
    assert "note: /dev/nowhere: it is not there" in said
    assert "note: 0.0.0.0:0: whoever reaches it may do all" in said
    assert told(folder, "[nonsense]\n")[0] == 2


@pytest.mark.parametrize(
    ("keys", "noted"),
    [
        ('host = "0.0.0.0"\n', True),
        ('host = "192.0.2.7"\n', True),
        ('host = "::1"\n', False),
        ('host = "127.0.0.9"\n', False),
        ('host = "localhost"\n', False),
        ('host = "0.0.0.0"\nnetworks = ["192.0.2.0/24"]\n', False),
        ('host = "0.0.0.0"\nrights = "few"\n', False),
    ],
)
def test_open_doors(folder: Path, keys: str, noted: bool) -> None:
    found = list(doctor.doors(patient(folder, f"{GOOD}[rights.few]\n[[listen]]\nport = 0\n{keys}")))
    assert bool(found) == noted


def test_the_state_folder(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not list(doctor.state(patient(folder)))
    (folder / "headrace-state").mkdir()
    (folder / "headrace-state").chmod(0o777)
    (found,) = doctor.state(patient(folder))
    assert "others may change" in found.line
    (folder / "headrace-state").chmod(0o700)
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**9, 10**9 - 2**20, 2**20))
    (found,) = doctor.state(patient(folder))
    assert "1 MiB are free" in found.line
    monkeypatch.undo()
    monkeypatch.setattr(os, "access", lambda *_: False)
    (found,) = doctor.state(patient(folder))
    assert "cannot be written" in found.line


def test_what_was_set_aside(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not list(doctor.damaged(patient(folder)))
    monkeypatch.setattr(limits, "SPOOL_RESERVE_BYTES", 0)
    state = folder / "headrace-state"
    spool = Spool(state / "spool")
    assert not list(doctor.damaged(patient(folder)))
    number = kept(spool)
    (state / "spool" / f"{number}.data").unlink()
    assert spool.held() == []
    (state / "spool" / "notes.txt").touch()
    (state / "cache.sqlite3.damaged").touch()
    before = {each: each.stat().st_mtime_ns for each in state.rglob("*")}
    one, two, three = doctor.damaged(patient(folder))
    assert (one.caution, "cache.sqlite3.damaged: it was damaged" in one.line) == (True, True)
    assert (two.caution, f"lie aside in it: {number}. headrace spool" in two.line) == (False, True)
    assert (three.caution, "1 of its files are not" in three.line) == (True, True)
    assert {each: each.stat().st_mtime_ns for each in state.rglob("*")} == before

    def failing(_: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(aside, "lying_aside", failing)
    _, found = doctor.damaged(patient(folder))
    assert "cannot be read: Permission denied" in found.line


def test_the_clock(folder: Path) -> None:
    assert not list(doctor.clock(patient(folder)))
    (found,) = doctor.clock(patient(folder, now=0.0))
    assert "it says 1970-01-01" in found.line


def test_certificates(folder: Path) -> None:
    trustme.CA().cert_pem.write_to_path(str(folder / "own.pem"))
    text = '[place.club]\nbase = "https://127.0.0.1/"\nca = "own.pem"\n'
    assert not list(doctor.certificates(patient(folder, text, datetime.now(UTC).timestamp())))
    ends = datetime(3000, 1, 1, tzinfo=UTC)  # trustme's authorities do
    far = ends - timedelta(days=10)
    (soon,) = doctor.certificates(patient(folder, text, far.timestamp()))
    assert soon.caution
    assert "expires in 10 days" in soon.line
    (over,) = doctor.certificates(patient(folder, text, far.timestamp() + 30 * 86_400))
    assert not over.caution
    assert "have expired" in over.line


def test_open_files(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resource, "getrlimit", lambda _: (1_000, 4_096))
    assert not list(doctor.descriptors(patient(folder)))
    monkeypatch.setattr(resource, "getrlimit", lambda _: (1_000, 1_024))
    (found,) = doctor.descriptors(patient(folder))
    assert "1024 are allowed, and 1000 clients want 1356" in found.line
    monkeypatch.setattr(resource, "getrlimit", lambda _: (1_000, resource.RLIM_INFINITY))
    assert not list(doctor.descriptors(patient(folder)))
    monkeypatch.setattr(resource, "getrlimit", lambda _: (1_000, 1_024))
    monkeypatch.setattr(doctor, "resource", None)  # a system without such limits
    assert not list(doctor.descriptors(patient(folder)))


def test_devices_that_may_not_be_used(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = patient(folder, f'{GOOD}[[listen]]\ndevice = "{folder}/key"\n')
    assert not list(doctor.devices(found))
    monkeypatch.setattr(os, "access", lambda *_: False)
    (one,) = doctor.devices(found)
    assert "may not be used" in one.line
