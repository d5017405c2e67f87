"""The adapter for WebDAV: Target -> entries, bytes, or a change made whole (RFC 4918).

Every folder is asked with a slash at its end. What a change is about is looked at first, so that no server's
idea of "replace" or "delete" takes a whole folder with it; adapters.dav.replacing is how documents change.

What the protocol cannot do: append (the document is written anew), tell a link, remove a folder only if it is
empty (it is listed just before), keep the properties of a document that is replaced. A server may take two
steps for a MOVE that replaces something.
"""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

from adapters.addresses import Resolver
from adapters.dav.conditions import A_FOLDER, check, same_document
from adapters.dav.destinations import Destinations
from adapters.dav.exchanges import Exchanges, Operation, doubt_about, plain_fault
from adapters.dav.listing import A_DOCUMENT
from adapters.dav.places import Place, dav_url, placed, same_url
from adapters.dav.replacing import Replacing
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    WrongDocument,
    WrongWords,
)
from adapters.files import (
    Ability,
    Condition,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Was,
    Written,
)
from adapters.http.client import HttpClient, Request
from adapters.http.documents.places import is_folder_url
from adapters.http.documents.reading import Wanted, reading
from adapters.http.link.streams import Connect, open_stream

_THE_PLACE: Final = "That is the place itself"
_MISREAD: Final = "The far server misreads that name"
_OTHER_SERVER: Final = "Not at the same far server"
_PARENT_STATUSES: Final = frozenset({403, 404, 409, 500})  # what servers answer where a folder is missing


def _utc_now() -> datetime:
    return datetime.now(UTC)


class DavAdapter(FileAdapter):
    """The adapter for `dav` and `davs`; one instance serves both and all clients, in one event loop.

    `resolve`, `connect` and `now` are the outside world, for tests to replace.
    """

    can = (
        Ability.LIST
        | Ability.STAT
        | Ability.READ
        | Ability.RANGE
        | Ability.WRITE
        | Ability.APPEND
        | Ability.ERASE
        | Ability.RENAME
        | Ability.MAKE_FOLDER
        | Ability.COPY
    )

    def __init__(
        self,
        resolve: Resolver | None = None,
        connect: Connect = open_stream,
        now: Callable[[], datetime] = _utc_now,
    ) -> None:
        self._now = now
        self._client = HttpClient(resolve, connect, now)
        self._exchanges = Exchanges(self._client, now)
        self._destinations = Destinations(self._exchanges)
        self._replacing = Replacing(self._exchanges, self._destinations)

    async def list(self, target: Target, seconds: float) -> Listing:
        """PROPFIND of depth 1. WrongDocument for a document."""
        place, operation = placed(target), Operation(seconds)
        try:
            found = await self._exchanges.list(place.folder, operation)
        except (NotThere, NotAllowed, NotPossible, WrongWords, ChangedMeanwhile) as fault:
            if await self._is_document(place, operation):
                raise WrongDocument(A_DOCUMENT) from fault
            raise
        told = found.told
        if told is None and (await self._exchanges.stat(place.folder, operation)).kind is not Kind.FOLDER:
            raise WrongDocument(A_DOCUMENT)
        return Listing(
            entries=() if told is None else told.entries,
            partial=False if told is None else told.partial,
            url="" if same_url(found.url, place.folder.url) else dav_url(found.url),
            origin=found.origin,
            steps=operation.steps,
        )

    async def stat(self, target: Target, seconds: float) -> Stat:
        """PROPFIND of depth 0, or HEAD where the server has no PROPFIND."""
        return await self._exchanges.stat(placed(target).target, Operation(seconds))

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """GET with a range (adapters.http.documents.reading). A folder has no bytes: WrongDocument."""
        place, operation = placed(target), Operation(seconds)
        if is_folder_url(place.target.url):
            raise WrongDocument(A_FOLDER)
        wanted = Wanted(replace(place.target, index="html"), offset, count)  # so that a slash added is told
        async with reading(self._client, wanted, operation.left_to_tidy, self._now) as read:
            if await self._is_folder(place, read, operation):
                raise WrongDocument(A_FOLDER)
            yield replace(read, stat=replace(read.stat, origin=dav_url(read.stat.origin)))

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """PUT beside the target, then MOVE (adapters.dav.replacing). `checked` is "size"."""
        place, operation = placed(target), Operation(seconds)

        async def fill(temporary: Target) -> int:
            return await self._put(place, temporary, upload, operation)

        size, checked = await self._replacing.replace(place, fill, condition, operation)
        return Written(size, checked, operation.steps)

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """The old bytes and the new ones, put beside the target, then MOVE: the old ones travel both ways."""
        place, operation = placed(target), Operation(seconds)
        seen = await self._exchanges.look(place.target, operation)
        added = 0

        async def chunks() -> AsyncIterator[bytes]:
            nonlocal added
            added = 0
            if seen is not None:
                async for chunk in self._old_bytes(place, seen, operation):
                    yield chunk
            async for chunk in upload.chunks():
                added += len(chunk)
                yield chunk

        old = 0 if seen is None else seen.size
        size = None if old is None or upload.size is None else old + upload.size
        longer = Upload(chunks, size, upload.repeatable, upload.media_type)

        async def fill(temporary: Target) -> int:
            return await self._put(place, temporary, longer, operation)

        check(condition, seen)
        as_seen: Condition = Was.NOTHING if seen is None else seen
        _, checked = await self._replacing.replace(place, fill, as_seen, operation)
        return Written(added, checked, operation.steps)

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """COPY to a name beside `to`, then MOVE. Documents only."""
        place, goal, operation = placed(target), placed(to), Operation(seconds)
        if place.origin != goal.origin:
            raise NotPossible(_OTHER_SERVER)
        source = await self._exchanges.stat(place.target, operation)
        if source.kind is not Kind.FILE:
            raise WrongDocument(A_FOLDER)

        async def fill(temporary: Target) -> int | None:
            if not await self._destinations.understood(goal, operation, beside=True):
                raise NotPossible(_MISREAD)
            headers = ("Destination", temporary.url), ("Overwrite", "F"), ("Depth", "0")
            try:
                copied = await self._exchanges.send("COPY", place.document, operation, headers, changes=True)
            except MayBeDone as doubt:  # the temporary name's matter only
                raise plain_fault(doubt) from doubt
            if copied.status in _PARENT_STATUSES:
                await self._replacing.check_parent(goal, operation)
            if copied.fault is not None:
                raise copied.fault
            return source.size

        size, checked = await self._replacing.replace(goal, fill, Was.ANYTHING, operation)
        return Written(size, checked, operation.steps)

    async def erase(self, target: Target, seconds: float) -> None:
        """DELETE of a document, or of a folder that was empty just before, as far as the server shows it: one
        that hides names (nginx, those beginning with a dot) removes them with the folder.
        """
        place, operation = placed(target), Operation(seconds)
        if place.at_root:
            raise NotAllowed(_THE_PLACE)
        seen = await self._exchanges.stat(place.target, operation)
        if seen.kind is Kind.FOLDER:
            told = (await self._exchanges.list(place.folder, operation)).told
            if told is None or told.entries or told.partial:
                raise NotPossible("The folder is not empty")
        doomed = place.document if seen.kind is Kind.FILE else place.folder
        try:
            outcome = await self._exchanges.send("DELETE", doomed, operation, changes=True)
        except MayBeDone as doubt:
            if await self._looked(place, operation, doubt) is not None:
                raise
            return
        if outcome.fault is not None and outcome.doubtful:
            there = await self._looked(place, operation, outcome.fault)
            if there is None:
                return
            if seen.kind is Kind.FOLDER or not same_document(seen, there):
                raise doubt_about(outcome.fault) from outcome.fault
        if outcome.fault is not None:
            raise outcome.fault

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """MOVE that replaces nothing."""
        place, goal, operation = placed(target), placed(to), Operation(seconds)
        if place.at_root or goal.at_root:
            raise NotAllowed(_THE_PLACE)
        if place.origin != goal.origin:
            raise NotPossible(_OTHER_SERVER)
        seen = await self._exchanges.stat(place.target, operation)
        if await self._exchanges.look(goal.target, operation) is not None:
            raise ChangedMeanwhile("Already there")
        if place.contains(goal):
            raise NotPossible("A folder cannot go into itself")
        await self._replacing.check_parent(goal, operation)  # one server would make it
        if not await self._destinations.understood(goal, operation):
            raise NotPossible(_MISREAD)
        folder = seen.kind is Kind.FOLDER
        source, destination = (place.folder, goal.folder) if folder else (place.document, goal.document)
        headers = ("Destination", destination.url), ("Overwrite", "F")
        try:
            outcome = await self._exchanges.send("MOVE", source, operation, headers, changes=True)
        except MayBeDone as doubt:
            if not await self._renamed(place, goal, operation, doubt):
                raise
            return
        if outcome.fault is not None and outcome.doubtful:
            if await self._renamed(place, goal, operation, outcome.fault):
                return
            unmoved = await self._looked(goal, operation, outcome.fault) is None
            if folder or not unmoved:  # of a folder some may have been moved
                raise doubt_about(outcome.fault) from outcome.fault
        if outcome.fault is not None:
            raise outcome.fault

    async def make_folder(self, target: Target, seconds: float) -> None:
        """MKCOL."""
        place, operation = placed(target), Operation(seconds)
        if await self._exchanges.look(place.target, operation) is not None:
            raise ChangedMeanwhile("Already there")
        try:
            outcome = await self._exchanges.send("MKCOL", place.folder, operation, changes=True)
        except MayBeDone as doubt:
            if await self._looked(place, operation, doubt) is None:
                raise
            return
        if outcome.fault is None:
            return
        if outcome.status == 405:  # RFC 4918 section 9.3.1
            raise ChangedMeanwhile("Already there")
        there = await self._looked(place, operation, outcome.fault) if outcome.doubtful else None
        if there is not None:
            return
        if outcome.status in _PARENT_STATUSES:
            await self._replacing.check_parent(place, operation)
        raise outcome.fault

    async def aclose(self) -> None:
        """Close every connection; what is under way breaks off."""
        await self._replacing.aclose()
        await self._client.aclose()

    async def _put(self, place: Place, temporary: Target, upload: Upload, operation: Operation) -> int:
        """Fill a temporary document; the bytes sent."""
        sent = 0

        async def counted() -> AsyncIterator[bytes]:
            nonlocal sent
            sent = 0
            async for chunk in upload.chunks():
                sent += len(chunk)
                if upload.size is not None and sent > upload.size:
                    raise BrokenOff("More to be sent than announced")
                yield chunk
            if upload.size is not None and sent < upload.size:
                raise BrokenOff("Less to be sent than announced")

        data = Upload(counted, upload.size, upload.repeatable, upload.media_type)
        outcome = await self._exchanges.send("PUT", temporary, operation, body=data)
        if outcome.status in _PARENT_STATUSES:
            await self._replacing.check_parent(place, operation)
        if outcome.fault is not None:
            raise outcome.fault
        return sent

    async def _old_bytes(self, place: Place, seen: Stat, operation: Operation) -> AsyncIterator[bytes]:
        """What is there, as it was seen, or ChangedMeanwhile."""
        had = 0
        async with self._client.exchange(Request("GET", place.document), operation.left) as answer:
            if answer.fault is not None:
                raise answer.fault
            if answer.decoded:
                raise NotPossible("Kept compressed: not to be appended")
            async for chunk in answer.chunks:
                had += len(chunk)
                if seen.size is not None and had > seen.size:
                    break
                yield chunk
        if seen.size is not None and had != seen.size:
            raise ChangedMeanwhile("Changed meanwhile")

    async def _is_document(self, place: Place, operation: Operation) -> bool:
        """Whether what is no folder is a document; some servers say neither."""
        if not place.names:
            return False
        try:
            return (await self._exchanges.stat(place.document, operation)).kind is Kind.FILE
        except HeadraceError:
            return False

    async def _is_folder(self, place: Place, read: Reading, operation: Operation) -> bool:
        """Whether these are no document's bytes: servers answer GET for a folder with a page, or nothing."""
        if read.stat.kind is Kind.FOLDER or (read.size and read.stat.media_type != "text/html"):
            return read.stat.kind is Kind.FOLDER
        seen = await self._exchanges.look(place.target, operation)
        return seen is not None and seen.kind is Kind.FOLDER

    async def _looked(self, place: Place, operation: Operation, fault: HeadraceError) -> Stat | None:
        """What is there after a request whose end is not known; MayBeDone where that cannot be told."""
        try:
            return await self._exchanges.look(place.target, operation, tidying=True)
        except HeadraceError as error:
            raise doubt_about(fault) from error

    async def _renamed(self, place: Place, goal: Place, operation: Operation, fault: HeadraceError) -> bool:
        """Whether it has the new name and the old one is gone."""
        if await self._looked(place, operation, fault) is not None:
            return False
        return await self._looked(goal, operation, fault) is not None
