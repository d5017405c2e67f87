"""The members' file on disk: read, with its permissions looked at, and written as a whole."""

import os
import stat
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Final

from gateway.catalogue.access import Member
from gateway.catalogue.document.mistakes import CatalogueFaults, Mistake
from gateway.catalogue.members import members_text, read_members
from gateway.service.whole_files import put_in_place

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
    """All of them, in one go, for the file's owner alone; a new one is the folder's owner's, such as a
    service's own state folder. OSError.
    """
    there = path.exists()
    mode = stat.S_IMODE(path.stat().st_mode) & ~_OTHERS if there else 0o600
    put_in_place(path, members_text(members).encode(), mode, like=path if there else path.parent)
