"""Files that are whole or not there: written under a `.part` name, renamed when they are complete.

A `.part` file is locked as long as its writer lives (flock(2)), so what a killed process left behind can be
told from what another one writes at this moment. No file is ever written over by another recording: names
are taken with O_EXCL (open(2)).
"""

import errno
import fcntl
import os
import secrets
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path, PurePosixPath
from typing import Final

PART: Final = ".part"
TOML: Final = ".toml"
_NEW: Final = os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC


class Part:
    """A file under way. Not buffered: what was written can be read by its path."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self.path = path
        self._descriptor = descriptor

    def write(self, data: bytes) -> None:
        """All of it, at the end."""
        view = memoryview(data)
        while view:
            view = view[os.write(self._descriptor, view) :]

    def keep(self, path: Path) -> None:
        """It is complete: this is its name."""
        self.path.rename(path)
        self.path = path
        self._close()

    def drop(self) -> None:
        """It is not wanted. Harmless after `keep`."""
        if self._descriptor >= 0:
            with suppress(OSError):
                self.path.unlink()
            self._close()

    def _close(self) -> None:
        os.close(self._descriptor)
        self._descriptor = -1


class Tree:
    """The folder `path`. Blocking; OSError as the disk gives it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._numbers: dict[PurePosixPath, int] = {}
        self._begun = False

    def part(self) -> Part:
        """A new file that has no place yet."""
        self._begin()
        while True:
            made = _create(self.path / f"recording-{secrets.token_hex(8)}{PART}")
            if made is not None:
                return made

    def claim(self, stem: PurePosixPath, endings: Iterable[str]) -> tuple[Part, Path]:
        """A number that nothing under `stem` has: the TOML file under way, and the stem with the number. The
        names that `endings` make of it are free, and stay so until the TOML file is kept or dropped.
        """
        self._begin()
        folder = self.path / stem.parent
        folder.mkdir(parents=True, exist_ok=True)
        if not folder.resolve().is_relative_to(self.path.resolve()):
            raise OSError(errno.EXDEV, "a link leads out of the folder of recordings", str(folder))
        taken = (TOML, *endings)
        number = self._numbers.get(stem, 0)
        while True:
            number += 1
            name = folder / f"{stem.name}.{number}"
            made = _create(beside(name, TOML + PART))
            if made is None:
                continue
            if not any(os.path.lexists(beside(name, ending)) for ending in taken):
                self._numbers[stem] = number
                return made, name
            made.drop()

    def rewrite(self, path: Path, check: Callable[[os.stat_result], bool], data: bytes) -> bool:
        """Put a file in the place of the one at `path`, if `check` still holds of that one and nobody else is
        about to do the same.
        """
        self._begin()
        made = _create(beside(path, PART))
        if made is None:
            return False
        try:
            if not check(path.stat()):
                return False
            made.write(data)
            made.keep(path)
        except FileNotFoundError:  # removed by hand
            return False
        finally:
            made.drop()
        return True

    def _begin(self) -> None:
        """Before the first file: what killed processes left under way goes."""
        if self._begun:
            return
        self.path.mkdir(parents=True, exist_ok=True)
        for folder, _, names in os.walk(self.path):
            for name in names:
                if name.endswith(PART):
                    with suppress(OSError):
                        _remove_left(Path(folder, name))
        self._begun = True


def beside(path: Path, ending: str) -> Path:
    """`path` with something at its end; a suffix that it has stays."""
    return path.with_name(path.name + ending)


def _create(path: Path) -> Part | None:
    """A new file, locked; None where that name is taken."""
    while True:
        try:
            descriptor = os.open(path, _NEW, 0o666)
        except FileExistsError:
            return None
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        if os.fstat(descriptor).st_nlink:
            return Part(path, descriptor)
        os.close(descriptor)  # another process swept it away before it was locked


def _remove_left(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.path.samestat(os.fstat(descriptor), path.lstat()):
            path.unlink()
    finally:
        os.close(descriptor)
