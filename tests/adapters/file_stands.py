"""Stands for the file contract: an adapter, and a folder at a far server that is seen behind its back."""

import asyncio
import os
import re
from abc import ABC, abstractmethod
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

import pytest

from adapters.errors import BrokenOff, HeadraceError, NotPossible
from adapters.files import Ability, Condition, Entry, FileAdapter, Target, Upload, Was, Written
from tests.adapters.contract import tells_nothing_private

SECONDS = 30.0  # far more than anything takes here, as machines may be busy
BLOCK = 65_536


class FileStand(ABC):
    """An adapter, and an empty writable folder at a far server for it.

    The methods work on that folder behind the server's back; a `name` may have slashes.
    """

    adapter: FileAdapter
    root: Target
    private: Sequence[str] = ()  # words that no sentence may hold: the login, the folder's path on disk
    sizes: ClassVar[bool] = True  # the server tells exact sizes of files

    @property
    def origin(self) -> str:
        """What is told of where it is: scheme, host and port of the place, which its root names."""
        return "/".join(self.root.url.split("/")[:3])

    @abstractmethod
    def put(self, name: bytes, body: bytes) -> None:
        """A document is there, whatever was."""

    @abstractmethod
    def peek(self, name: bytes) -> bytes | None:
        """The document's bytes, or None where none is."""

    @abstractmethod
    def make(self, name: bytes) -> None:
        """A folder is there."""

    @abstractmethod
    def names(self, folder: bytes = b"") -> set[bytes]:
        """Everything in a folder of it, hidden or not; empty where that is not there."""

    @abstractmethod
    def contacts(self) -> int:
        """How often the far server was connected to; 0 where there is none."""

    def takes(self, name: bytes) -> bool:
        """Whether server and protocol can carry this name (one segment) at all."""
        return True

    def at(self, name: bytes) -> Target:
        """The target of a name, or of names with slashes, in the folder."""
        target = self.root
        for each in name.split(b"/"):
            target = target.within(each)
        return target


class DiskStand(FileStand):
    """A stand whose server keeps that folder on this machine."""

    folder: Path

    def put(self, name: bytes, body: bytes) -> None:
        self._path(name).write_bytes(body)
        self._path(name).chmod(0o666)  # for servers that run as somebody else

    def peek(self, name: bytes) -> bytes | None:
        path = self._path(name)
        return path.read_bytes() if path.is_file() else None

    def make(self, name: bytes) -> None:
        self._path(name).mkdir()
        self._path(name).chmod(0o777)

    def names(self, folder: bytes = b"") -> set[bytes]:
        path = self._path(folder)
        return {os.fsencode(each.name) for each in path.iterdir()} if path.is_dir() else set()

    def _path(self, name: bytes) -> Path:
        return Path(os.fsdecode(bytes(self.folder) + b"/" + name))


class FarFileStand(FileStand):
    """A stand whose server is reached over the network."""

    @abstractmethod
    def nobody(self) -> Target:
        """The root, at an address that is named and where nobody listens."""


def upload(body: bytes, *, size: int | None = None, repeatable: bool = True) -> Upload:
    """The body in pieces."""

    async def chunks() -> AsyncIterator[bytes]:
        for start in range(0, len(body), BLOCK):
            yield body[start : start + BLOCK]

    return Upload(chunks, size=size, repeatable=repeatable)


def broken(body: bytes, size: int | None = None) -> Upload:
    """An upload that fails after the body, as one does whose bytes come from another far server."""

    async def chunks() -> AsyncIterator[bytes]:
        for start in range(0, len(body), BLOCK):
            yield body[start : start + BLOCK]
        raise BrokenOff("The source broke off")

    return Upload(chunks, size=size)


def endless(began: asyncio.Event) -> Upload:
    """An upload that stalls."""

    async def chunks() -> AsyncIterator[bytes]:
        yield b"n" * BLOCK
        began.set()
        await asyncio.Event().wait()
        yield b"never"

    return Upload(chunks)


async def whole(stand: FileStand, target: Target, offset: int = 0, count: int | None = None) -> bytes:
    """What is read there."""
    async with stand.adapter.read(target, offset, count, SECONDS) as reading:
        return b"".join([chunk async for chunk in reading.chunks])


async def write(stand: FileStand, name: bytes, body: bytes, condition: Condition = Was.ANYTHING) -> Written:
    return await stand.adapter.write(stand.at(name), upload(body, size=len(body)), condition, SECONDS)


async def found(stand: FileStand) -> dict[bytes, Entry]:
    listing = await stand.adapter.list(stand.root, SECONDS)
    assert not listing.partial
    assert listing.origin == stand.origin
    entries = {each.name: each for each in listing.entries}
    assert len(entries) == len(listing.entries)
    return entries


def where(stand: FileStand, entry: Entry) -> Target:
    """How a client gets at an entry of the folder."""
    return replace(stand.root, url=entry.url) if entry.url else stand.root.within(entry.name)


async def fails(
    stand: FileStand, doing: Awaitable[object], *kinds: type[HeadraceError], asked: bool = True
) -> HeadraceError:
    """It fails as one of `kinds` (none named: somehow), tells nothing private, and where it was, unless it
    was refused before anybody was `asked`.
    """
    with pytest.raises(HeadraceError) as caught:
        await doing
    assert not kinds or type(caught.value) in kinds, repr(caught.value)
    tells_nothing_private(caught.value)
    for word in stand.private:
        assert word not in caught.value.sentence
        assert word not in caught.value.far
    where, _, status = caught.value.far.partition(", HTTP ")
    assert where == stand.origin or not (asked or where)
    assert not status or re.fullmatch("[1-9][0-9]{2}", status)
    return caught.value


async def _read(stand: FileStand, seconds: float) -> bytes:
    async with stand.adapter.read(stand.at(b"old"), 0, None, seconds) as reading:
        return b"".join([chunk async for chunk in reading.chunks])


DOING: dict[Ability, Callable[[FileStand, float], Awaitable[object]]] = {
    Ability.LIST: lambda stand, seconds: stand.adapter.list(stand.root, seconds),
    Ability.STAT: lambda stand, seconds: stand.adapter.stat(stand.at(b"old"), seconds),
    Ability.READ: _read,
    Ability.WRITE: lambda stand, seconds: stand.adapter.write(
        stand.at(b"old"), upload(b"new", size=3), Was.ANYTHING, seconds
    ),
    Ability.APPEND: lambda stand, seconds: stand.adapter.append(
        stand.at(b"old"), upload(b"new", size=3), Was.ANYTHING, seconds
    ),
    Ability.ERASE: lambda stand, seconds: stand.adapter.erase(stand.at(b"old"), seconds),
    Ability.RENAME: lambda stand, seconds: stand.adapter.rename(stand.at(b"old"), stand.at(b"to"), seconds),
    Ability.MAKE_FOLDER: lambda stand, seconds: stand.adapter.make_folder(stand.at(b"to"), seconds),
    Ability.COPY: lambda stand, seconds: stand.adapter.copy(stand.at(b"old"), stand.at(b"to"), seconds),
}
"""One call of each kind, over a document `old` and a free name `to`."""


async def lacks(stand: FileStand, *wanted: Ability) -> bool:
    """Whether it cannot do one of these, which is then shown to be refused, with nothing done."""
    missing = [each for each in wanted if each not in stand.adapter.abilities(stand.root)]
    for each in missing:
        stand.put(b"old", b"as it was")
        before = stand.names()
        await fails(stand, DOING[each](stand, SECONDS), NotPossible, asked=False)
        assert (stand.peek(b"old"), stand.names()) == (b"as it was", before)
    return bool(missing)
