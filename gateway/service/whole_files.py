"""bytes -> a file that is there whole, or as it was: what reads it meanwhile sees the old one or the new.

It is written under a name beside it, locked (flock(2)) as long as its writer lives: what a killed one left
behind is removed by the next.
"""

import fcntl
import os
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Final

_PART: Final = ".part"


def put_in_place(path: Path, data: bytes, mode: int, *, like: Path | None = None) -> None:
    """Write the file by way of a name beside it, and keep it safe from a power cut. OSError.

    `mode` is its permissions. `like`: it is to have that file's or folder's owner, where that may be given.
    """
    remove_left(path)
    descriptor, draft = _begun(path)
    try:
        with os.fdopen(descriptor, "wb") as file:
            if like is not None:
                with suppress(OSError, AttributeError):  # not on every system
                    owner = like.stat()
                    os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
            draft.chmod(mode)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
            draft.replace(path)
    except BaseException:
        draft.unlink(missing_ok=True)
        raise
    with suppress(PermissionError):  # a folder that may be written and not read
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(folder)  # so that the new name lasts too
        finally:
            os.close(folder)


def _begun(path: Path) -> tuple[int, Path]:
    """A locked draft; another one where it was taken for a leftover in the moment before it was locked."""
    while True:
        descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=_PART)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if os.fstat(descriptor).st_nlink:
                return descriptor, Path(name)
        except OSError:  # whoever looks whether it is one has it locked just now
            Path(name).unlink(missing_ok=True)
        os.close(descriptor)


def remove_left(path: Path) -> None:
    """Remove drafts of the file that nobody writes any more: best effort."""
    with suppress(OSError):
        for each in path.parent.iterdir():
            if each.name.startswith(f".{path.name}.") and each.name.endswith(_PART):
                with suppress(OSError):
                    _remove_unlocked(each)


def _remove_unlocked(draft: Path) -> None:
    descriptor = os.open(draft, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        draft.unlink()
    finally:
        os.close(descriptor)
