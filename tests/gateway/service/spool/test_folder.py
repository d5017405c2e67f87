"""The spool's files: whose they are, and what happens to strange ones."""

import errno
import fcntl
import os
import stat
import threading
from pathlib import Path

import pytest

from adapters.errors import HeadraceError, NoRoom
from gateway.service.spool.folder import Fault, SpoolFolder, let_go, spool_fault, write_all
from gateway.service.spool.record import Damaged, JobKind, Record, SpooledJob, read_record
from tests.disks import descriptors
from tests.gateway.service.spool.jobs import names

RECORD = Record(SpooledJob(JobKind.STORE, "CLUB:a"), 0, "")


@pytest.fixture
def folder(tmp_path: Path) -> SpoolFolder:
    return SpoolFolder(tmp_path / "state" / "spool")


def test_nobody_else_may_look(folder: SpoolFolder) -> None:
    number, descriptor = folder.create(1)
    folder.write_job(number, RECORD)
    folder.write_fault(number, Fault("x"))
    os.close(descriptor)
    assert stat.S_IMODE(folder.path.stat().st_mode) == 0o700
    for each in folder.path.iterdir():
        assert stat.S_IMODE(each.stat().st_mode) == 0o600


def test_a_number_is_given_once(folder: SpoolFolder) -> None:
    got: list[int] = []

    def create() -> None:
        for _ in range(20):
            number, descriptor = folder.create(1)
            got.append(number)
            os.close(descriptor)

    threads = [threading.Thread(target=create) for _ in range(4)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert sorted(got) == list(range(1, 81))


def test_a_locked_job_is_nobody_elses(folder: SpoolFolder) -> None:
    number, descriptor = folder.create(1)
    assert folder.lock(number) is None
    os.close(descriptor)
    again = folder.lock(number)
    assert again is not None
    assert folder.lock(number) is None
    os.close(again)
    assert folder.lock(number + 1) is None


def test_a_lock_on_a_file_that_is_gone_is_none(folder: SpoolFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process may remove it, and a third make a new one, between opening and locking."""
    number, descriptor = folder.create(1)
    os.close(descriptor)
    real = fcntl.flock

    def late(which: int, how: int) -> None:
        folder.remove(number)
        real(which, how)

    monkeypatch.setattr(fcntl, "flock", late)
    assert folder.lock(number) is None
    assert names(folder.path) == set()


def test_a_new_file_that_is_taken_for_a_leftover_gets_another_number(
    folder: SpoolFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = fcntl.flock

    def late(which: int, how: int) -> None:
        folder.remove(1)
        real(which, how)

    monkeypatch.setattr(fcntl, "flock", late)
    number, descriptor = folder.create(1)
    os.close(descriptor)
    assert (number, names(folder.path)) == (2, {"2.data"})


@pytest.mark.parametrize("call", ["flock", "fstat", "stat"])
def test_a_disk_that_fails_while_a_job_is_claimed_leaves_no_claim(
    folder: SpoolFolder, call: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """flock(2) and fstat(2) may end in EIO; the descriptor would hold the lock until the gateway ends."""
    number, descriptor = folder.create(1)
    os.close(descriptor)
    before = descriptors()

    def fails(*_: object, **__: object) -> None:
        raise OSError(errno.EIO, "made to fail")

    with monkeypatch.context() as patch:
        patch.setattr(fcntl if call == "flock" else os, call, fails)
        with pytest.raises(OSError, match="made to fail"):
            folder.lock(number)
        with pytest.raises(OSError, match="made to fail"):
            folder.create(2)
    assert descriptors() == before
    assert names(folder.path) == {"1.data"}
    again = folder.lock(number)
    assert again is not None
    os.close(again)


def test_a_close_that_fails_has_closed(folder: SpoolFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """close(2), "Dealing with error returns": the descriptor is free on Linux, and may be another file's by
    the time that somebody closes it once more.
    """
    _, descriptor = folder.create(1)
    real = os.close

    def fails(which: int) -> None:
        real(which)
        raise OSError(errno.EIO, "made to fail")

    monkeypatch.setattr(os, "close", fails)
    let_go(descriptor)
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(descriptor)


def test_other_programs_files_are_let_be(folder: SpoolFolder) -> None:
    for name in ("notes.txt", "1.data.old", "x.job", "1", ".job", "1.other"):
        (folder.path / name).write_text("mine")
    found = folder.look()
    assert (found.parts, found.damaged) == ({}, set())


def test_setting_aside_keeps_everything_and_says_so(
    folder: SpoolFolder, caplog: pytest.LogCaptureFixture
) -> None:
    number, descriptor = folder.create(7)
    os.write(descriptor, b"precious")
    os.close(descriptor)
    folder.write_job(number, RECORD)
    with pytest.raises(Damaged, match="8 bytes instead of 0") as caught:
        folder.read_job(number)
    folder.set_aside(number, caught.value)
    assert names(folder.path) == {f"7.{part}.damaged" for part in ("data", "job", "spare", "why")}
    assert (folder.path / "7.data.damaged").read_bytes() == b"precious"
    assert [each.levelname for each in caplog.records] == ["ERROR"]
    assert "8 bytes instead of 0" in caplog.text
    assert folder.look().damaged == {7}


def test_a_job_without_its_data_is_damaged(folder: SpoolFolder) -> None:
    number, descriptor = folder.create(1)
    os.close(descriptor)
    folder.write_job(number, RECORD)
    folder.part(number, "data").unlink()
    with pytest.raises(Damaged, match="gone"):
        folder.read_job(number)


def test_a_job_that_goes_while_it_is_looked_at_is_not_damaged(
    folder: SpoolFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    number, descriptor = folder.create(1)
    os.close(descriptor)
    folder.write_job(number, RECORD)

    def gone(text: bytes) -> Record:
        folder.remove(number)
        return read_record(text)

    monkeypatch.setattr("gateway.service.spool.folder.read_record", gone)
    with pytest.raises(FileNotFoundError):
        folder.read_job(number)


@pytest.mark.parametrize("text", [b"", b"{", b"[]", b"{}", b"\xff", b'{"sentence": 1}'])
def test_a_fault_that_cannot_be_read_is_none(folder: SpoolFolder, text: bytes) -> None:
    folder.part(1, "fault").write_bytes(text)
    assert folder.read_fault(1) == Fault()


def test_a_fault_there_and_back(folder: SpoolFolder) -> None:
    for fault in (Fault("A long sentence that is replaced", doubtful=True), Fault("Short")):
        folder.write_fault(1, fault)
        assert folder.read_fault(1) == fault


@pytest.mark.parametrize(
    ("number", "kind"),
    [(errno.ENOSPC, NoRoom), (errno.EDQUOT, NoRoom), (errno.EFBIG, NoRoom), (errno.EIO, HeadraceError)],
)
def test_errors(number: int, kind: type[HeadraceError]) -> None:
    fault = spool_fault(OSError(number, "at /srv/state/spool"))
    assert type(fault) is kind
    assert "/srv" not in fault.sentence
    assert len(fault.sentence) <= 40


def test_a_spare_description_that_cannot_be_written_costs_nothing(
    folder: SpoolFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fills up in between; half of one is not left there."""

    def full(descriptor: int, data: bytes) -> None:
        if Path(f"/proc/self/fd/{descriptor}").readlink().name == f"{number}.spare":
            os.write(descriptor, data[:5])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write_all(descriptor, data)

    number, descriptor = folder.create(1)
    monkeypatch.setattr("gateway.service.spool.folder.write_all", full)
    folder.write_job(number, RECORD)
    os.close(descriptor)
    assert names(folder.path) == {f"{number}.data", f"{number}.job"}
    assert folder.read_job(number) == RECORD


def test_data_that_cannot_be_opened_now_are_not_called_damaged(
    folder: SpoolFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """open(2), EMFILE: it passes."""

    def full(*_: object) -> int:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    number, descriptor = folder.create(1)
    os.close(descriptor)
    monkeypatch.setattr(os, "open", full)
    with pytest.raises(OSError, match=os.strerror(errno.EMFILE)):
        folder.lock(number)
