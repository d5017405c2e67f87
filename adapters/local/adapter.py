"""`file` places: Target -> a folder of this machine, from which nothing leads out; never holding the loop.

Links within a place are followed where they lead within it (see `confined`), except by ERASE, RENAME and
MKDIR, which deal with the link itself; listings show each as a link. FIFOs, sockets and devices are not
listed and not opened. A document that is replaced keeps its rights and owner, but not its other hard links.
An APPEND is a copy of the old document with the new bytes behind it, put in its place: whole or not at all,
and never over what another program wrote meanwhile.
"""

import asyncio
import errno
import os
import stat
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractContextManager, aclosing, asynccontextmanager, suppress
from functools import partial
from typing import ClassVar, Final, Protocol, TypeVar
from weakref import WeakValueDictionary

from adapters import limits
from adapters.errors import (
    BrokenOff,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    TooSlow,
    WrongDocument,
    happened_at,
)
from adapters.files import (
    A_DOCUMENT,
    A_FOLDER,
    ROOT_STAYS,
    Ability,
    Condition,
    FileAdapter,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Was,
    Written,
    unmet,
)
from adapters.local.confined import SELF, Spot, spot, spot_to_be
from adapters.local.documents import ORIGIN, Document, is_met, list_folder, look, stat_of
from adapters.local.locations import location_of
from adapters.local.moving import move
from adapters.local.one_by_one import OneByOne
from adapters.local.temporary import Temporary, sync_folder
from adapters.local.threads import Deadline, Threads

_COPY_BYTES: Final = 8 << 20  # by one call: the disk's own work, without memory of ours
_CLOSE_SECONDS: Final = 1.0  # for a disk to give a descriptor back before that is left to its thread


T = TypeVar("T")
Opened = TypeVar("Opened", Document, Temporary)


class Walk(Protocol):
    """`spot` or `spot_to_be`."""

    def __call__(
        self, root: bytes, names: Sequence[bytes], *, follow: bool = True
    ) -> AbstractContextManager[Spot]:
        """The spot that these names lead to."""
        ...


class LocalAdapter(FileAdapter):
    """Folders of this machine; see the module."""

    can: ClassVar[Ability] = ~Ability.NONE

    def __init__(self) -> None:
        self._threads = Threads()
        self._scans = OneByOne(limits.SCAN_SECONDS)
        self._turns: WeakValueDictionary[str, asyncio.Lock] = WeakValueDictionary()

    async def list(self, target: Target, seconds: float) -> Listing:
        """The entries of a folder."""
        with happened_at(ORIGIN):
            deadline = Deadline(seconds)
            async with self._scans.turn(deadline.left()):
                return await self._at(target, list_folder, deadline)

    async def stat(self, target: Target, seconds: float) -> Stat:
        """What `target` is; of a link within the place, what it leads to."""
        with happened_at(ORIGIN):
            return await self._at(target, partial(look, name=target.name), Deadline(seconds))

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """The document as large as it is when it is opened: what is added later is not read."""
        with happened_at(ORIGIN):
            deadline = Deadline(seconds)
            document = await self._opened(target, Document, deadline)
            try:
                if target.names_folder:
                    raise WrongDocument(A_DOCUMENT)
                size = document.found.st_size
                begin = min(offset, size)
                end = size if count is None else min(size, begin + count)
                chunks = self._chunks(document, begin, end, deadline)
                yield Reading(chunks, begin, size, stat_of(document.found, target.name))
            finally:
                await self._closed(document)

    async def _chunks(
        self, document: Document, begin: int, end: int, deadline: Deadline
    ) -> AsyncIterator[bytes]:
        while begin < end:
            size = min(limits.CHUNK_BYTES, end - begin)
            chunk = await self._threads.do(partial(document.read, begin, size), deadline.left())
            if not chunk:
                raise BrokenOff("The document became shorter")
            begin += len(chunk)
            yield chunk

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """Put a document in the place of what was there."""
        with happened_at(ORIGIN):
            deadline = Deadline(seconds)
            temporary = await self._prepared(target, deadline)
            try:
                size = await self._take(upload, temporary, deadline)
                async with self._turn(target, deadline):
                    await self._place(temporary, condition, deadline)
            finally:
                await self._closed(temporary)
            return Written(size, "size")

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """Add at the end of a document, or make it. ChangedMeanwhile where another program changed it while
        the upload lasted; clients of the gateway take turns.
        """
        with happened_at(ORIGIN):
            deadline = Deadline(seconds)
            async with self._turn(target, deadline):
                temporary = await self._prepared(target, deadline)
                try:
                    before = await self._old(target, temporary, deadline)
                    if not is_met(condition, before):
                        raise unmet(condition)
                    size = await self._take(upload, temporary, deadline)
                    same: Condition = Was.NOTHING if before is None else stat_of(before, target.name)
                    await self._place(temporary, same, deadline)
                finally:
                    await self._closed(temporary)
            return Written(size, "size")

    async def _old(self, target: Target, temporary: Temporary, deadline: Deadline) -> os.stat_result | None:
        """Copy what is there into the temporary file; what it is, or None where nothing is."""
        try:
            document = await self._opened(target, Document, deadline)
        except NotThere:
            return None
        try:
            await self._copy(document, temporary, deadline)
            return document.found
        finally:
            await self._closed(document)

    async def erase(self, target: Target, seconds: float) -> None:
        """Remove a document, a link or an empty folder."""
        with happened_at(ORIGIN):
            await self._at(target, _erase, Deadline(seconds), follow=False, changes=True)

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """Another name in the same place, or in another one on the same disk."""
        with happened_at(ORIGIN):
            deadline, location, goal = Deadline(seconds), location_of(target), location_of(to)

            def work() -> None:
                with (
                    spot(location.root, location.names, follow=False) as old,
                    spot_to_be(goal.root, goal.names, follow=False) as new,
                ):
                    _rename(old, new)

            await self._threads.do(work, deadline.left(), changes=True)

    async def make_folder(self, target: Target, seconds: float) -> None:
        """Make one folder."""
        with happened_at(ORIGIN):
            await self._at(target, _make_folder, Deadline(seconds), spot_to_be, follow=False, changes=True)

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """Copy one document without its bytes coming through the gateway's memory."""
        with happened_at(ORIGIN):
            deadline = Deadline(seconds)
            document = await self._opened(target, Document, deadline)
            try:
                temporary = await self._prepared(to, deadline)
                try:
                    size = await self._copy(document, temporary, deadline)
                    async with self._turn(to, deadline):
                        await self._place(temporary, Was.ANYTHING, deadline)
                finally:
                    await self._closed(temporary)
            finally:
                await self._closed(document)
            return Written(size, "size")

    async def aclose(self) -> None:
        """Let the threads go."""
        self._threads.close()

    async def _at(
        self,
        target: Target,
        work: Callable[[Spot], T],
        deadline: Deadline,
        walk: Walk = spot,
        *,
        follow: bool = True,
        changes: bool = False,
    ) -> T:
        """Work at the spot of a target, in a thread."""
        location = location_of(target)

        def doing() -> T:
            with walk(location.root, location.names, follow=follow) as found:
                return work(found)

        return await self._threads.do(doing, deadline.left(), changes=changes)

    async def _prepared(self, target: Target, deadline: Deadline) -> Temporary:
        """A file for what is to be at the target."""
        if target.names_folder:
            raise WrongDocument(A_FOLDER)
        return await self._opened(target, Temporary, deadline, spot_to_be)

    async def _opened(
        self, target: Target, kind: Callable[[Spot], Opened], deadline: Deadline, walk: Walk = spot
    ) -> Opened:
        location = location_of(target)

        def doing() -> Opened:
            with walk(location.root, location.names) as found:
                return kind(found)

        return await self._threads.do(doing, deadline.left(), unwanted=_close)

    async def _closed(self, opened: Document | Temporary) -> None:
        """Closed, or soon to be where the disk hangs."""
        with suppress(TooSlow):
            await self._threads.do(opened.close, _CLOSE_SECONDS, surely=True)

    async def _take(self, upload: Upload, temporary: Temporary, deadline: Deadline) -> int:
        size = 0
        async with aclosing(deadline.pieces(upload.chunks())) as pieces:
            async for piece in pieces:
                size += len(piece)
                if upload.size is not None and size > upload.size:
                    raise BrokenOff("The upload is longer than it said")
                await self._threads.do(partial(temporary.write, piece), deadline.left())
        if upload.size is not None and size < upload.size:
            raise BrokenOff("The upload is shorter than it said")
        return size

    async def _copy(self, document: Document, temporary: Temporary, deadline: Deadline) -> int:
        size = 0
        while True:
            copied = await self._threads.do(
                partial(temporary.copy, document, size, _COPY_BYTES), deadline.left()
            )
            if copied == 0:
                return size
            size += copied

    async def _place(self, temporary: Temporary, condition: Condition, deadline: Deadline) -> None:
        """Put it in its place where the condition is met at that moment."""
        place = partial(temporary.place, partial(is_met, condition), replace=condition is not Was.NOTHING)
        await self._threads.do(place, deadline.left(), changes=True)

    @asynccontextmanager
    async def _turn(self, target: Target, deadline: Deadline) -> AsyncIterator[None]:
        """One client of the gateway at a time changes a document of a place on the condition of what it was.

        By place, since links give a document several names.
        """
        lock = self._turns.get(target.root)
        if lock is None:
            lock = self._turns[target.root] = asyncio.Lock()
        try:
            async with asyncio.timeout(deadline.left()):
                await lock.acquire()
        except TimeoutError as error:
            raise TooSlow from error
        try:
            yield
        finally:
            lock.release()


def _close(opened: Document | Temporary) -> None:
    opened.close()


def _erase(found: Spot) -> None:
    entry = found.look()
    _not_the_root(found)
    if entry is None:
        raise NotThere
    if stat.S_ISDIR(entry.st_mode):
        os.rmdir(found.name, dir_fd=found.folder)
    elif stat.S_ISREG(entry.st_mode) or stat.S_ISLNK(entry.st_mode):
        os.unlink(found.name, dir_fd=found.folder)
    else:
        raise NotAllowed("That is no document")
    _lasting(found)


def _rename(old: Spot, new: Spot) -> None:
    _not_the_root(old)
    _not_the_root(new)
    entry = old.look()
    if entry is None:
        raise NotThere
    if not (stat.S_ISDIR(entry.st_mode) or stat.S_ISREG(entry.st_mode) or stat.S_ISLNK(entry.st_mode)):
        raise NotAllowed("That is no document")
    try:
        move(old, new)
    except OSError as error:
        if error.errno == errno.EINVAL:
            raise NotPossible("A folder cannot go into itself") from error
        raise
    _lasting(new)
    _lasting(old)


def _make_folder(found: Spot) -> None:
    os.mkdir(found.name, dir_fd=found.folder)
    _lasting(found)


def _lasting(found: Spot) -> None:
    """The change is done: that it may not last is all that can still go wrong."""
    try:
        sync_folder(found.folder)
    except OSError as error:
        raise MayBeDone from error


def _not_the_root(found: Spot) -> None:
    if found.name == SELF:
        raise NotAllowed(ROOT_STAYS)
