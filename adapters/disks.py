"""a disk, and how much of it is to stay free -> how much may be filled."""

import os
from pathlib import Path

from adapters import limits


def to_spare(where: int | Path, reserve: int) -> int:
    """Bytes that may be written to the disk of a file, a folder or an open descriptor: what is free for us
    (statvfs(3), f_bavail) less `reserve` bytes, or less a share of a disk that is small. Below 0 where the
    reserve is in use already. OSError.
    """
    disk = os.statvfs(where)
    kept = min(reserve, disk.f_blocks * disk.f_frsize // limits.DISK_RESERVE_PART)
    return disk.f_bavail * disk.f_frsize - kept
