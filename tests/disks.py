"""Disks that are full, for tests: a real one of 1 MB where it can be mounted, and the largest file that a
process may write (setrlimit(2)), which ends in EFBIG.
"""

import os
import resource
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def mounted(folder: Path) -> Iterator[bool]:
    """Whether a disk of 1 MB is at `folder` meanwhile: it takes rights that not everybody has."""
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    done = subprocess.run(command, capture_output=True, check=False).returncode == 0
    try:
        yield done
    finally:
        if done:
            subprocess.run(["umount", "-l", folder], check=True)


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """No file that this process writes gets longer. Never across the end of a test: its report is such a
    file too, where it does not go to a terminal.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def full(folder: Path, size: int = 1 << 20) -> Iterator[None]:
    """A disk at `folder` that is full at 1 MB, or files that end at `size` where it is not mounted."""
    if folder.is_mount():
        yield
    else:
        with largest_file(size):
            yield


def descriptors() -> int:
    """How many this process has."""
    return len(os.listdir("/proc/self/fd"))  # noqa: PTH208 - no disk is asked
