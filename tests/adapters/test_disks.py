"""What may be filled of a disk: statvfs(3) of made-up ones, and of the one under the tests."""

import os
from pathlib import Path

import pytest

from adapters import limits
from adapters.disks import to_spare

MIB = 1 << 20


@pytest.mark.parametrize(
    ("blocks", "free", "kept"),
    [
        (1 << 30, 1 << 20, 64 * MIB),  # 4 TiB: the reserve
        (limits.DISK_RESERVE_PART * 256, 300, MIB),  # a small disk: a share of it
        (1 << 30, 0, 64 * MIB),  # nothing is free but for the system
    ],
)
def test_a_reserve_or_a_share_of_a_small_disk(
    blocks: int, free: int, kept: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = os.statvfs_result((512, 4096, blocks, free + 10, free, 0, 0, 0, 0, 255))
    monkeypatch.setattr(os, "statvfs", lambda _: room)
    assert to_spare(Path("anywhere"), 64 * MIB) == free * 4096 - kept


def test_a_folder_and_a_descriptor_in_it_are_one_disk(tmp_path: Path) -> None:
    with (tmp_path / "file").open("wb") as file:
        assert abs(to_spare(tmp_path, 0) - to_spare(file.fileno(), 0)) < 1 << 30  # others write meanwhile
    with pytest.raises(FileNotFoundError):
        to_spare(tmp_path / "nowhere", 0)
