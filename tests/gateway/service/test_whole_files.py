"""A file that is there whole, or as it was."""

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
