"""Stat results -> Stat and Entry; an open folder -> its listing; an open document -> its bytes. Blocking."""

import errno
import os
import stat
import threading
from datetime import UTC, datetime
from typing import Final

from adapters import limits
from adapters.errors import NotAllowed, WrongDocument
from adapters.files import A_DOCUMENT, Condition, Entry, Kind, Listing, Stat, Was
from adapters.local.confined import SELF, Spot, shut
from adapters.media import media_type_of
from adapters.port import Validators

ORIGIN: Final = "this gateway's disk"
"""Where it is, for WHY: no path on it is told."""


def stat_of(found: os.stat_result, name: bytes) -> Stat:
    """What is told of a document or folder. The entity tag is ours: the inode, the size and the time of the
    last change in nanoseconds.
    """
    kind = _kind(found.st_mode)
    if kind is None:
        raise NotAllowed("That is no document")
    document = kind is Kind.FILE
    return Stat(
        kind,
        size=found.st_size if document else None,
        modified=_time(found),
        validators=Validators(etag=f'"{found.st_ino:x}-{found.st_size:x}-{found.st_mtime_ns:x}"'),
        media_type=media_type_of(name) if document else "",
        origin=ORIGIN,
    )


def is_met(condition: Condition, found: os.stat_result | None) -> bool:
    """Whether what is there, if anything, is what the condition wants."""
    if isinstance(condition, Was):
        return condition is Was.ANYTHING or found is None
    if found is None or _kind(found.st_mode) is not condition.kind:
        return False
    now = stat_of(found, b"")
    if condition.validators.etag is not None:
        return now.validators.etag == condition.validators.etag
    return (now.size, now.modified) == (condition.size, condition.modified)


def list_folder(spot: Spot) -> Listing:
    """The entries, in the disk's own order. Every link is a LINK, wherever it leads; what is neither folder,
    document nor link is left out, as nothing can be done with it.
    """
    try:
        folder = spot.open_folder()
    except NotADirectoryError as error:
        stat_of(os.stat(spot.name, dir_fd=spot.folder, follow_symlinks=False), spot.name)  # or it is neither
        raise WrongDocument(A_DOCUMENT) from error
    entries: list[Entry] = []
    partial = False
    try:
        with os.scandir(folder) as scanned:
            for each in scanned:
                if len(entries) == limits.LIST_ENTRIES:
                    partial = True
                    break
                try:
                    found = os.stat(each.name, dir_fd=folder, follow_symlinks=False)
                except FileNotFoundError:  # gone since
                    continue
                except OSError:  # such as a folder that may be listed, but not entered
                    partial = True
                    continue
                kind = _kind(found.st_mode)
                if kind is not None:
                    size = found.st_size if kind is Kind.FILE else None
                    entries.append(Entry(os.fsencode(each.name), kind, size, _time(found)))
    finally:
        shut(folder)
    return Listing(tuple(entries), partial, origin=ORIGIN)


def look(spot: Spot, name: bytes) -> Stat:
    """What is at the spot."""
    found = spot.look()
    if found is None:
        raise FileNotFoundError(errno.ENOENT, "nothing there")
    return stat_of(found, name if spot.name == SELF else spot.name)


class Document:
    """An open document. `close` waits for a read that is going on, and may be called again."""

    def __init__(self, spot: Spot) -> None:
        self._lock = threading.Lock()
        self._descriptor = spot.open_document()
        try:
            self.found = os.fstat(self._descriptor)
        except OSError:
            shut(self._descriptor)
            raise

    def read(self, offset: int, size: int) -> bytes:
        """At most `size` bytes from there; empty at the end."""
        with self._lock:
            return os.pread(self._descriptor, size, offset)

    def copy_to(self, target: int, offset: int, size: int) -> int:
        """Copy at most `size` bytes from `offset` to the end of the descriptor `target`; how many it were."""
        with self._lock:
            return _copied(self._descriptor, target, offset, size)

    def close(self) -> None:
        """Give the descriptor back."""
        with self._lock:
            if self._descriptor >= 0:
                shut(self._descriptor)
                self._descriptor = -1


def _copied(source: int, target: int, offset: int, size: int) -> int:
    """By the disk itself where it can (copy_file_range(2)), else by the kernel (sendfile(2))."""
    try:
        return os.copy_file_range(source, target, size, offset)
    except OSError as error:
        if error.errno not in _CANNOT_COPY:
            raise
        return os.sendfile(target, source, offset, size)


_CANNOT_COPY = frozenset({errno.EXDEV, errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP})


def _kind(mode: int) -> Kind | None:
    if stat.S_ISLNK(mode):
        return Kind.LINK
    if stat.S_ISDIR(mode):
        return Kind.FOLDER
    return Kind.FILE if stat.S_ISREG(mode) else None


def _time(found: os.stat_result) -> datetime | None:
    try:
        return datetime.fromtimestamp(found.st_mtime_ns // 1_000_000_000, UTC)
    except (ValueError, OverflowError, OSError):  # a year that no calendar here has
        return None
