"""Disks that are full, for tests: a real one of 1 MB where it can be mounted, and the largest file that a
process may write (setrlimit(2)), which ends in EFBIG.
"""

import os
import resource
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
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
def filled(folder: Path, process: int) -> Iterator[None]:
    """Nothing goes on the disk at `folder` meanwhile, or, where it is not mounted, into any file that another
    process writes (prlimit(2)).
    """
    filler = folder / "filler"
    if folder.is_mount():
        with filler.open("wb", buffering=0) as file, suppress(OSError):
            for size in (4_096, 1):
                with suppress(OSError):
                    while True:
                        file.write(bytes(size))
        yield
        filler.unlink()
    else:
        soft, hard = resource.prlimit(process, resource.RLIMIT_FSIZE)
        resource.prlimit(process, resource.RLIMIT_FSIZE, (0, hard))
        yield
        resource.prlimit(process, resource.RLIMIT_FSIZE, (soft, hard))


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
