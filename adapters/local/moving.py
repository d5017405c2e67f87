"""One name -> another, replacing nothing. Blocking."""

import ctypes
import errno
import os
import stat
from typing import Final

from adapters.local.confined import Spot

_NOREPLACE: Final = 1  # RENAME_NOREPLACE of renameat2(2), from linux/fs.h
_REFUSED: Final = frozenset({errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP})
_LIBRARY: Final = ctypes.CDLL(None, use_errno=True)


def move(spot: Spot, to: Spot) -> None:
    """Rename in one step; FileExistsError where something has the new name, OSError.

    Where disk or library lack renameat2(2)'s RENAME_NOREPLACE, a document gets its second name and then
    loses the first (never replacing, both names for a moment), and a folder is renamed after a look: should
    an empty folder come under that name just then, it would be replaced.
    """
    try:
        _renameat2(spot, to)
    except OSError as error:
        if error.errno not in _REFUSED:
            raise
        _in_steps(spot, to)


def _renameat2(spot: Spot, to: Spot) -> None:
    rename = getattr(_LIBRARY, "renameat2", None)
    if rename is None:
        raise OSError(errno.ENOSYS, "no renameat2")
    if rename(spot.folder, spot.name, to.folder, to.name, _NOREPLACE) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def _in_steps(spot: Spot, to: Spot) -> None:
    found = os.stat(spot.name, dir_fd=spot.folder, follow_symlinks=False)
    if not stat.S_ISDIR(found.st_mode):
        os.link(spot.name, to.name, src_dir_fd=spot.folder, dst_dir_fd=to.folder, follow_symlinks=False)
        os.unlink(spot.name, dir_fd=spot.folder)
        return
    if to.look() is not None:
        raise FileExistsError(errno.EEXIST, "already there")
    os.rename(spot.name, to.name, src_dir_fd=spot.folder, dst_dir_fd=to.folder)
