"""The adapter for WebDAV: Target -> entries, bytes, or a change made whole (RFC 4918).

Every folder is asked with a slash at its end. What a change is about is looked at first, so that no server's
idea of "replace" or "delete" takes a whole folder with it; adapters.dav.replacing is how documents change.

What the protocol cannot do: append (the document is written anew), tell a link, remove a folder only if it is
empty (it is listed just before), keep the properties of a document that is replaced. A server may take two
steps for a MOVE that replaces something.
"""

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, AsyncExitStack, asynccontextmanager, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

from adapters.addresses import Resolver
from adapters.dav.conditions import check, same_document
from adapters.dav.destinations import Destinations
from adapters.dav.exchanges import Exchanges, Operation, doubt_about, plain_fault
from adapters.dav.places import Place, dav_url, placed, same_url
from adapters.dav.replacing import Replacing
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    CredentialsRefused,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    WrongDocument,
    WrongWords,
    happened_at,
)
from adapters.files import (
    A_DOCUMENT,
    A_FOLDER,
    ALREADY_THERE,
    NOT_EMPTY,
    ROOT_STAYS,
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
from adapters.http.documents.reading import Wanted, reading
from adapters.http.link.streams import Connect, open_stream
from adapters.spooled import Spooled

_MISREAD: Final = "The far server misreads that name"
_OTHER_SERVER: Final = "Not at the same far server"
_PARENT_STATUSES: Final = frozenset({403, 404, 409, 500})  # what servers answer where a folder is missing


def _utc_now() -> datetime:
    return datetime.now(UTC)


@contextmanager
def _begun(target: Target, seconds: float) -> Iterator[tuple[Place, Operation]]:
    """One operation on a target; errors leave with where they happened."""
    place = placed(target)
    with happened_at(place.far):
        yield place, Operation(seconds)


def _may_be_folder(read: Reading) -> bool:
    """Whether these may be no document's bytes: servers answer GET for a folder with a page, or nothing."""
    return read.stat.kind is Kind.FOLDER or not read.size or read.stat.media_type == "text/html"


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
        self._client = HttpClient(resolve, connect, now, spelled=dav_url)
        self._exchanges = Exchanges(self._client, now)
        self._destinations = Destinations(self._exchanges)
        self._replacing = Replacing(self._exchanges, self._destinations)

    async def list(self, target: Target, seconds: float) -> Listing:
        """PROPFIND of depth 1. WrongDocument for a document."""
        with _begun(target, seconds) as (place, operation):
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
        with _begun(target, seconds) as (place, operation):
            return await self._exchanges.stat(place.target, operation)

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """GET with a range (adapters.http.documents.reading). A folder has no bytes: WrongDocument."""
        with _begun(target, seconds) as (place, operation):
            if target.names_folder:
                seen = await self._exchanges.stat(place.document, operation)
                raise WrongDocument(A_DOCUMENT if seen.kind is Kind.FILE else A_FOLDER)
            shown = replace(place.target, index="html")  # so that a slash added is told
            wanted = Wanted(shown, offset, count)
            async with AsyncExitStack() as stack:
                try:
                    read = await stack.enter_async_context(self._reading(wanted, operation))
                except (CredentialsRefused, NotAllowed, NotThere, NotPossible) as fault:
                    await self._explain(place, fault, operation)
                    raise
                if _may_be_folder(read):
                    await stack.aclose()  # as a look waits its turn too: many would wait for one another
                    if read.stat.kind is Kind.FOLDER or await self._is_folder(place, operation):
                        raise WrongDocument(A_FOLDER)
                    if read.size != 0:
                        read = await stack.enter_async_context(self._reading(wanted, operation))
                yield read

    def _reading(self, wanted: Wanted, operation: Operation) -> AbstractAsyncContextManager[Reading]:
        return reading(self._client, wanted, operation.left_to_tidy, self._now)

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """PUT beside the target, then MOVE (adapters.dav.replacing). `checked` is "size"."""
        with _begun(target, seconds) as (place, operation):

            async def fill(temporary: Target) -> int:
                return await self._put(place, temporary, upload, operation)

            size, checked = await self._replacing.replace(place, fill, condition, operation)
            return Written(size, checked, operation.steps)

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """The old bytes, kept here meanwhile, and the new ones, put beside the target, then MOVE."""
        with _begun(target, seconds) as (place, operation):
            if target.names_folder:
                raise WrongDocument(A_FOLDER)
            seen = await self._replacing.look_before(place, operation)
            check(condition, seen)
            async with Spooled() as spool:
                if seen is not None:
                    await self._keep_old(place, seen, spool, operation)
                size = None if upload.size is None else spool.size + upload.size
                longer = Upload(
                    lambda: spool.followed_by(upload.chunks()), size, upload.repeatable, upload.media_type
                )
                sent = 0

                async def fill(temporary: Target) -> int:
                    nonlocal sent
                    sent = await self._put(place, temporary, longer, operation)
                    return sent

                as_seen: Condition = Was.NOTHING if seen is None else seen
                _, checked = await self._replacing.replace(place, fill, as_seen, operation)
                return Written(sent - spool.size, checked, operation.steps)

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """COPY to a name beside `to`, then MOVE. Documents only."""
        with _begun(target, seconds) as (place, operation):
            goal = placed(to)
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
                    copied = await self._exchanges.send(
                        "COPY", place.document, operation, headers, changes=True
                    )
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
        with _begun(target, seconds) as (place, operation):
            if place.at_root:
                raise NotAllowed(ROOT_STAYS)
            seen = await self._exchanges.stat(place.target, operation)
            if seen.kind is Kind.FOLDER:
                told = (await self._exchanges.list(place.folder, operation)).told
                if told is None or told.entries or told.partial:
                    raise NotPossible(NOT_EMPTY)
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
        with _begun(target, seconds) as (place, operation):
            goal = placed(to)
            if place.at_root or goal.at_root:
                raise NotAllowed(ROOT_STAYS)
            if place.origin != goal.origin:
                raise NotPossible(_OTHER_SERVER)
            seen = await self._exchanges.stat(place.target, operation)
            if await self._replacing.look_before(goal, operation) is not None:
                raise ChangedMeanwhile(ALREADY_THERE)
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
        with _begun(target, seconds) as (place, operation):
            if await self._replacing.look_before(place, operation) is not None:
                raise ChangedMeanwhile(ALREADY_THERE)
            try:
                outcome = await self._exchanges.send("MKCOL", place.folder, operation, changes=True)
            except MayBeDone as doubt:
                if await self._looked(place, operation, doubt) is None:
                    raise
                return
            if outcome.fault is None:
                return
            if outcome.status == 405:  # RFC 4918 section 9.3.1
                raise ChangedMeanwhile(ALREADY_THERE)
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

    async def _keep_old(self, place: Place, seen: Stat, spool: Spooled, operation: Operation) -> None:
        """What is there, as it was seen, or ChangedMeanwhile. Not sent on as it comes: a far server that
        serves few requests at once would wait for itself.
        """
        async with self._client.exchange(Request("GET", place.document), operation.left) as answer:
            if answer.fault is not None:
                raise answer.fault
            if answer.decoded:
                raise NotPossible("Kept compressed: not to be appended")
            async for chunk in answer.chunks:
                if seen.size is not None and spool.size + len(chunk) > seen.size:
                    raise ChangedMeanwhile("Changed meanwhile")
                await spool.add(chunk)
        if seen.size is not None and spool.size != seen.size:
            raise ChangedMeanwhile("Changed meanwhile")

    async def _is_document(self, place: Place, operation: Operation) -> bool:
        """Whether what is no folder is a document; some servers say neither."""
        if not place.names:
            return False
        try:
            return (await self._exchanges.stat(place.document, operation)).kind is Kind.FILE
        except HeadraceError:
            return False

    async def _explain(self, place: Place, fault: HeadraceError, operation: Operation) -> None:
        """What is behind a refused GET: servers have 403, 404 or 405 for a folder. NotAllowed where the login
        was taken for a look.
        """
        if fault.far.endswith("HTTP 401"):
            return  # a refused login is not tried again: some servers count
        try:
            seen = await self._exchanges.stat(place.target, operation)
        except HeadraceError:
            return
        if seen.kind is Kind.FOLDER:
            raise WrongDocument(A_FOLDER) from fault
        if isinstance(fault, CredentialsRefused):
            raise NotAllowed("The far server does not allow that") from fault

    async def _is_folder(self, place: Place, operation: Operation) -> bool:
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
