"""A file that is there whole, or as it was."""

import fcntl
import os
import stat
from pathlib import Path

import pytest

from gateway.service.whole_files import put_in_place


def test_a_new_file_and_the_next(tmp_path: Path) -> None:
    path = tmp_path / "file"
    for data, mode in ((b"one", 0o600), (b"two, longer", 0o640)):
        put_in_place(path, data, mode, like=tmp_path)
        assert path.read_bytes() == data
        assert stat.S_IMODE(path.stat().st_mode) == mode
        assert path.stat().st_uid == tmp_path.stat().st_uid
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_a_full_disk_leaves_it_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"one")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        put_in_place(path, b"two", 0o600)
    assert path.read_bytes() == b"one"
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_what_a_killed_writer_left_goes_and_what_another_one_writes_stays(tmp_path: Path) -> None:
    path, left, ours = tmp_path / "file", tmp_path / ".file.abc.part", tmp_path / ".file.def.part"
    for each in (left, ours, tmp_path / ".file.swp", tmp_path / ".file2.abc.part"):
        each.write_bytes(b"half")
    with ours.open() as locked:
        fcntl.flock(locked, fcntl.LOCK_EX)
        put_in_place(path, b"one", 0o600)
    there = {each.name for each in tmp_path.iterdir()}
    assert there == {"file", ".file.def.part", ".file.swp", ".file2.abc.part"}


def test_a_draft_that_is_taken_for_a_leftover_is_begun_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, seen = fcntl.flock, list[Path]()

    def late(descriptor: int, how: int) -> None:
        if not seen:
            seen.extend(tmp_path.iterdir())
            seen[0].unlink()
        real(descriptor, how)

    monkeypatch.setattr(fcntl, "flock", late)
    put_in_place(tmp_path / "file", b"one", 0o600)
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_the_name_lasts_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """fsync(2): that of a file does not mean that its entry in the folder has reached the disk."""
    done: list[str] = []
    real = os.fsync

    def fsync(descriptor: int) -> None:
        done.append(Path(f"/proc/self/fd/{descriptor}").readlink().name)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    put_in_place(tmp_path / "file", b"one", 0o600)
    assert [each.endswith(".part") for each in done] == [True, False]
    assert done[1] == tmp_path.name


def test_a_draft_that_somebody_else_has_locked_is_left_to_him(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """flock(2), EWOULDBLOCK: whoever tidies up has it just now."""
    real, tried = fcntl.flock, list[int]()

    def busy(descriptor: int, how: int) -> None:
        tried.append(descriptor)
        if len(tried) == 1:
            raise BlockingIOError
        real(descriptor, how)

    monkeypatch.setattr(fcntl, "flock", busy)
    put_in_place(tmp_path / "file", b"one", 0o600)
    assert (tmp_path / "file").read_bytes() == b"one"
    assert [each.name for each in tmp_path.iterdir()] == ["file"]
