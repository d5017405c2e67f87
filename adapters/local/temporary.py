"""A name in a folder -> a file that nobody sees until it is whole, put under that name in one step. Blocking.

Where the disk has O_TMPFILE (open(2)), the file has no name at all while it is written: a gateway that is
killed leaves nothing. It then gets a name `NAME.hr-RANDOM.part` for the moment that a rename needs, or,
where nothing may be replaced, its own name at once. Elsewhere it has the `.part` name from the beginning,
and a killed gateway leaves that, visible in listings, so that it can be erased.
"""

import errno
import os
import secrets
import stat
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from adapters import limits
from adapters.disks import to_spare
from adapters.errors import ChangedMeanwhile, MayBeDone, NotAllowed, WrongDocument
from adapters.files import A_FOLDER, ALREADY_THERE
from adapters.local.confined import SELF, Spot, shut
from adapters.local.documents import Document
from adapters.local.moving import move

Check = Callable[[os.stat_result | None], bool]
"""Whether what is there now may be replaced."""

_NAME_BYTES: Final = 200  # of the target's name in the temporary one, which may have 255 in all
_UNNAMED: Final = os.O_TMPFILE | os.O_RDWR | os.O_CLOEXEC
_NAMED: Final = os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC
_UNNAMED_REFUSED: Final = frozenset({errno.EOPNOTSUPP, errno.EISDIR, errno.EINVAL, errno.ENOENT})
_NAMES_LATER: Final = Path("/proc/self/fd").is_dir()  # by which linkat(2) names what has no name
_MODE: Final = 0o666  # less the umask, as any new file
_RIGHTS: Final = 0o777  # kept of what is replaced: no set-user-ID, set-group-ID or sticky bit


class Temporary:
    """The file. Methods may be called from any thread, `close` at any time and more than once."""

    def __init__(self, spot: Spot) -> None:
        _replaceable(spot, spot.look())
        self._lock = threading.Lock()
        self._spot = Spot(os.dup(spot.folder), spot.name)
        self.name = spot.name[:_NAME_BYTES] + b".hr-" + secrets.token_hex(8).encode() + b".part"
        self._named = False
        self._closed = False
        try:
            self._descriptor = self._open()
        except BaseException:
            shut(self._spot.folder)
            raise

    def _open(self) -> int:
        if _NAMES_LATER:
            try:
                return os.open(SELF, _UNNAMED, _MODE, dir_fd=self._spot.folder)
            except OSError as error:
                if error.errno not in _UNNAMED_REFUSED:
                    raise
        descriptor = os.open(self.name, _NAMED, _MODE, dir_fd=self._spot.folder)
        self._named = True
        return descriptor

    def write(self, data: bytes) -> None:
        """Add at the end, all of it."""
        with self._lock:
            self._open_still()
            self._leave_room(len(data))
            view = memoryview(data)
            while view:
                view = view[os.write(self._descriptor, view) :]

    def copy(self, document: Document, offset: int, size: int) -> int:
        """Add at most `size` bytes of a document from `offset`; how many it were, 0 at its end."""
        with self._lock:
            self._open_still()
            self._leave_room(0)  # a copy within a disk may take none
            return document.copy_to(self._descriptor, offset, size)

    def _leave_room(self, size: int) -> None:
        """OSError where so many bytes more would take what the system needs: a document may have no end."""
        if to_spare(self._descriptor, limits.DISK_RESERVE_BYTES) < size:
            raise OSError(errno.ENOSPC, "what is left is kept free")

    def place(self, may_replace: Check, *, replace: bool) -> None:
        """Keep it safe, look at what is there, and take its place, with its rights and owner.

        ChangedMeanwhile where that may not be replaced, or anything is there and not `replace`. Every error
        but MayBeDone leaves what was there. Between the look and the rename another program can come in.
        """
        with self._lock:
            self._open_still()
            now = self._spot.look()
            _replaceable(self._spot, now)
            if now is not None:
                self._take_after(now)
            os.fsync(self._descriptor)
            if not may_replace(self._spot.look()):
                raise ChangedMeanwhile("Changed meanwhile" if replace else ALREADY_THERE)
            self._put(replace)
            self._make_lasting()

    def _put(self, replace: bool) -> None:
        folder, name = self._spot.folder, self._spot.name
        if not self._named:
            here = f"/proc/self/fd/{self._descriptor}"
            goal = self.name if replace else name
            os.link(here, goal, dst_dir_fd=folder, follow_symlinks=True)
            if not replace:
                return
            self._named = True
        if replace:
            os.replace(self.name, name, src_dir_fd=folder, dst_dir_fd=folder)
        else:
            move(Spot(folder, self.name), self._spot)
        self._named = False

    def _take_after(self, old: os.stat_result) -> None:
        with suppress(PermissionError):  # which of these may be done depends on who the gateway is
            os.fchown(self._descriptor, -1, old.st_gid)
            os.fchown(self._descriptor, old.st_uid, -1)
        os.fchmod(self._descriptor, stat.S_IMODE(old.st_mode) & _RIGHTS)

    def _make_lasting(self) -> None:
        try:
            sync_folder(self._spot.folder)
        except OSError as error:
            raise MayBeDone from error

    def _open_still(self) -> None:
        if self._closed:
            raise OSError(errno.EBADF, "given up before")

    def close(self) -> None:
        """Nothing is left of it, unless it was placed."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            if self._named:
                with suppress(OSError):
                    os.unlink(self.name, dir_fd=self._spot.folder)
            shut(self._descriptor)
            shut(self._spot.folder)


def sync_folder(folder: int) -> None:
    """Make what was renamed in an open folder last (fsync(2)); a folder that may not be read is let be."""
    with suppress(PermissionError):
        descriptor = os.open(SELF, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC, dir_fd=folder)
        try:
            os.fsync(descriptor)
        finally:
            shut(descriptor)


def _replaceable(spot: Spot, found: os.stat_result | None) -> None:
    if spot.name == SELF or (found is not None and stat.S_ISDIR(found.st_mode)):
        raise WrongDocument(A_FOLDER)
    if found is not None and not stat.S_ISREG(found.st_mode):
        raise NotAllowed("That is no document")
