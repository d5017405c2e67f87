"""A folder on disk and names below it -> the open folder that the last name is in; never outside.

The path is walked name by name from an open root (openat(2) with O_PATH and O_NOFOLLOW), so that what was
looked at is what is used, whoever swaps names meanwhile. Opening with O_PATH does nothing to FIFOs and
devices. A link is read from its own descriptor and walked in the same way, from the open folder that it is
in: one that leads within the root is followed, one that leads out is NotAllowed. `..`, which only links may
have here, goes back along the folders that were walked through, never by the disk's own. A link to an
absolute path leads within where that path begins with the root's.
"""

import errno
import os
import stat
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Final

from adapters.errors import NameNotAllowed, NotAllowed, NotThere
from adapters.files import NO_FOLDER

LINKS: Final = 40  # followed in one path, as the kernel itself does (path_resolution(7))
FOLDERS: Final = 256  # inside one another, each an open descriptor
SELF: Final = b"."
_LOOK: Final = os.O_PATH | os.O_NOFOLLOW | os.O_CLOEXEC
_ENTER: Final = os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC
_ENDS: Final = frozenset({b"", SELF})


def shut(descriptor: int) -> None:
    """Close it. Where close(2) fails it is closed, too; what was done before is done, and what had to be safe
    was made so with fsync.
    """
    with suppress(OSError):
        os.close(descriptor)


@dataclass(frozen=True, slots=True)
class Spot:
    """A name in an open folder (an O_PATH descriptor). The name is SELF where it is that folder itself."""

    folder: int
    name: bytes

    def look(self) -> os.stat_result | None:
        """What is there, a link being a link; None where nothing is."""
        try:
            return os.stat(self.name, dir_fd=self.folder, follow_symlinks=False)
        except FileNotFoundError:
            return None

    def open_document(self) -> int:
        """A descriptor for reading. NotAllowed for what is neither document nor folder; IsADirectoryError.

        It is looked at before it is opened, since opening a device may do something, and again afterwards.
        """
        _only_documents(os.stat(self.name, dir_fd=self.folder, follow_symlinks=False))
        flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC
        descriptor = os.open(self.name, flags, dir_fd=self.folder)
        try:
            _only_documents(os.fstat(descriptor))
        except BaseException:
            shut(descriptor)
            raise
        return descriptor

    def open_folder(self) -> int:
        """A descriptor for listing or fsync; NotADirectoryError."""
        flags = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC
        return os.open(self.name, flags, dir_fd=self.folder)


def _only_documents(found: os.stat_result) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, "a folder")
    if not stat.S_ISREG(found.st_mode):
        raise NotAllowed("That is no document")


@contextmanager
def spot(root: bytes, names: Sequence[bytes], *, follow: bool = True) -> Iterator[Spot]:
    """The spot of the last name, which need not be there; the folders before it have to.

    `follow`: if the last name is a link, the spot is where it leads. NotThere, NotAllowed, or OSError.
    """
    found = _walk(root, names, follow)
    try:
        yield found
    finally:
        shut(found.folder)


@contextmanager
def spot_to_be(root: bytes, names: Sequence[bytes], *, follow: bool = True) -> Iterator[Spot]:
    """The same for what is to be put there: of a missing folder on the way, NotThere says that it is one."""
    try:
        found = _walk(root, names, follow)
    except (NotThere, FileNotFoundError, NotADirectoryError) as error:
        raise NotThere(NO_FOLDER) from error
    try:
        yield found
    finally:
        shut(found.folder)


def _walk(root: bytes, names: Sequence[bytes], follow: bool) -> Spot:
    folders = [os.open(root, _ENTER)]
    pending = deque(names)
    links = 0
    try:
        while pending:
            name = pending.popleft()
            if name in _ENDS:
                continue
            if name == b"..":
                if len(folders) == 1:
                    raise NotAllowed("That leads out of the place")
                shut(folders.pop())
                continue
            last = not pending  # a blank or a dot behind it wants a folder
            goal = _step(folders, name, last)
            if goal is None or (last and not follow):
                if last:
                    return Spot(folders.pop(), name)
                continue
            links += 1
            if links > LINKS:
                raise NotAllowed("Links that lead in a circle")
            if goal.startswith(b"/"):
                goal = _within(root, goal)
                while len(folders) > 1:
                    shut(folders.pop())
            pending.extendleft(reversed(goal.split(b"/")))
        return Spot(folders.pop(), SELF)
    finally:
        for each in folders:
            shut(each)


def _step(folders: list[int], name: bytes, last: bool) -> bytes | None:
    """Look at one name; enter it if it is a folder on the way. Where it leads, if it is a link."""
    try:
        descriptor = os.open(name, _LOOK, dir_fd=folders[-1])
    except FileNotFoundError:
        if last:
            return None
        raise
    try:
        mode = os.fstat(descriptor).st_mode
        if stat.S_ISLNK(mode):
            return os.readlink(b"", dir_fd=descriptor)
        if last:
            return None
        if not stat.S_ISDIR(mode):
            raise NotThere
        if len(folders) == FOLDERS:
            raise NameNotAllowed("Too many folders inside one another")
        folders.append(os.dup(descriptor))
        return None
    finally:
        shut(descriptor)


def _within(root: bytes, goal: bytes) -> bytes:
    for beginning in (root.rstrip(b"/"), os.path.realpath(root).rstrip(b"/")):
        if goal == beginning or goal.startswith(beginning + b"/"):
            return goal[len(beginning) :]
    raise NotAllowed("That leads out of the place")
