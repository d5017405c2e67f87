"""The members' file on disk: read, with its permissions looked at, and written as a whole."""

import os
import stat
from collections.abc import Collection, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from gateway.catalogue.access import Member
from gateway.catalogue.document.mistakes import CatalogueFaults, Mistake
from gateway.catalogue.members import members_text, read_members

_OTHERS: Final = stat.S_IRWXO | stat.S_IWGRP
"""What nobody else may: others anything, the group more than read it."""


def read_file(path: Path, rights: Collection[str]) -> Mapping[str, Member]:
    """The members; none where there is no file. OSError, UnicodeDecodeError, or CatalogueFaults, which also
    tells of a file that others may read or change.
    """
    try:
        with path.open(encoding="utf-8") as file:
            mode = os.fstat(file.fileno()).st_mode
            text = file.read()
    except FileNotFoundError:
        return {}
    if mode & _OTHERS:
        found = f"a file that others may use (mode {stat.S_IMODE(mode):04o})"
        fault = Mistake(1, 1, 1, "the file", found, "one for its owner alone: chmod 600")
        raise CatalogueFaults((fault,), "", str(path))
    return read_members(text, str(path), rights)


def write_file(path: Path, members: Mapping[str, Member]) -> None:
    """All of them, in one go, for the file's owner alone: whoever reads it meanwhile sees the old ones or the
    new. OSError.
    """
    draft = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            with suppress(OSError):  # a new one is the folder's owner's, such as a service's own state folder
                owner = path.parent.stat()
                os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
            with suppress(OSError):  # whoever the file belonged to keeps it, where that may be given
                before = path.stat()
                os.fchown(file.fileno(), before.st_uid, before.st_gid)
                os.fchmod(file.fileno(), stat.S_IMODE(before.st_mode) & ~_OTHERS)
            file.write(members_text(members))
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
