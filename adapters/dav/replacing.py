"""Place, and a way to fill a document -> the target changed as a whole, or as it was.

A document is filled under a name beside the target that nobody else has, looked at, and moved onto the
target, which is one request (RFC 4918 section 9.9). Until then whatever fails leaves the target alone, and
the error is what it is. A move whose end is not known is looked into: where the temporary document can still
be moved aside, the move cannot happen any more, and where it is gone and the target has its size, it did
happen. Only what stays unclear is MayBeDone.

A server that cannot move (403, 405, 501), or not to such a name (adapters.dav.destinations), gets the
document by PUT, on condition that the target is what was seen. Whether it then changes as a whole is up to
the server, so what goes wrong in it is MayBeDone.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final

from adapters import limits
from adapters.dav.conditions import (
    check,
    move_condition,
    opaque_etag,
    put_condition,
    same_document,
    unchanged,
)
from adapters.dav.destinations import Destinations
from adapters.dav.exchanges import Exchanges, Operation, doubt_about, plain_fault
from adapters.dav.places import Place
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
from adapters.files import A_FOLDER, NO_FOLDER, Condition, Kind, Stat, Target, Upload
from adapters.http.client import Request

Fill = Callable[[Target], Awaitable[int | None]]
"""Fills a temporary document, and gives the bytes that have to be there."""

_CANNOT_MOVE: Final = frozenset({403, 405, 501})
_TRIES: Final = 3  # at a move whose target somebody else keeps changing
_LATE_SECONDS: Final = 0.1  # for a server to see that an upload broke off, and to leave what it has


class Replacing:
    """Changes by way of temporary names."""

    def __init__(self, exchanges: Exchanges, destinations: Destinations) -> None:
        self._exchanges = exchanges
        self._destinations = destinations
        self._tidying: set[asyncio.Task[None]] = set()

    async def replace(
        self, place: Place, fill: Fill, condition: Condition, operation: Operation
    ) -> tuple[int | None, str]:
        """Put what `fill` makes in the place of what was there. Its size, and what it was checked by."""
        if place.at_root or place.target.names_folder:
            raise WrongDocument(A_FOLDER)
        check(condition, await self.look_before(place, operation))
        temporary = place.temporary()
        filled = False
        move: _Move | None = None
        try:
            size = await fill(temporary)
            filled = True
            kept = await self._kept(temporary, size, operation)
            move = _Move(temporary, place, kept, operation)
            return await self._settle(move, condition)
        except asyncio.CancelledError:
            if move is not None and move.sent:
                tidying = self._brought_to_an_end(move)
            else:
                tidying = self._forget(temporary, Operation(limits.TIDY_SECONDS), late=not filled)
            task = asyncio.create_task(tidying)
            self._tidying.add(task)
            task.add_done_callback(self._tidying.discard)
            raise
        except BaseException:
            if move is None or not move.sent:
                await self._forget(temporary, operation, late=not filled)
            raise

    async def check_parent(self, place: Place, operation: Operation) -> None:
        """NotThere where the folder is not; what a server says of that is 409, 500 or anything."""
        folder = await self._parent(place, operation)
        if folder is None or folder.kind is not Kind.FOLDER:
            raise NotThere(NO_FOLDER)

    async def look_before(self, place: Place, operation: Operation) -> Stat | None:
        """What is where something is to be put. Some servers refuse to look below a document: NotThere, as
        the folder is missing.
        """
        try:
            return await self._exchanges.look(place.document, operation)
        except (NotAllowed, NotPossible, WrongWords, WrongDocument):
            await self.check_parent(place, operation)
            raise

    async def _parent(self, place: Place, operation: Operation) -> Stat | None:
        """What is where the folder should be: the server is asked for the folder, then for a document."""
        try:
            return await self._exchanges.look(place.parent, operation)
        except (NotAllowed, NotPossible, WrongWords, WrongDocument):
            alone = replace(place.parent, url=place.parent.url.rstrip("/"))
            return await self._exchanges.look(alone, operation)

    async def aclose(self) -> None:
        """Wait for what is being tidied up."""
        await asyncio.gather(*self._tidying)

    async def _kept(self, temporary: Target, size: int | None, operation: Operation) -> Stat:
        """What the far server has of it, which is to be all."""
        kept = await self._exchanges.stat(temporary, operation)
        if size is not None and kept.size is not None and size != kept.size:
            raise BrokenOff("The far server kept only a part")
        return kept

    async def _settle(self, move: "_Move", condition: Condition) -> tuple[int | None, str]:
        """Move it onto the target."""
        asked_for = True  # that the target is the one seen; one server refuses that whatever is there
        can_move = await self._destinations.understood(move.place, move.operation)
        for _ in range(_TRIES):
            now = await self._exchanges.look(move.place.target, move.operation)
            check(condition, now)
            if not can_move:
                return await self._put_over(move, now)
            url = move.place.document.url
            replaces = ("Destination", url), ("Overwrite", "F" if now is None else "T")
            headers = (*replaces, *(move_condition(url, now) if asked_for else ()))
            move.sent, move.before = True, now
            try:
                moved = await self._exchanges.send(
                    "MOVE", move.temporary, move.operation, headers, changes=True
                )
            except MayBeDone as doubt:
                await self._resolve(move, now, plain_fault(doubt))
                return move.result
            move.sent = moved.fault is not None and moved.doubtful
            if moved.status == 412:
                asked_for = False
                continue  # look again: if something is in the way, `check` says what
            if moved.status in _CANNOT_MOVE:
                return await self._put_over(move, now)
            if moved.fault is not None and not moved.doubtful:
                raise moved.fault
            if moved.fault is not None:
                try:
                    await self._resolve(move, now, moved.fault)
                except HeadraceError:
                    move.sent = await self._gone(move)  # it was answered: nothing comes late
                    raise
            return move.result
        raise ChangedMeanwhile

    async def _resolve(self, move: "_Move", before: Stat | None, fault: HeadraceError) -> None:
        """Find out what became of a move: return if it was made, raise `fault` if not, else MayBeDone.

        Some servers take the target away before they move. The temporary document, which may be all there is
        by then, is therefore never removed, but moved aside, which it survives; where the target has gone,
        what was begun is brought to its end from there.
        """
        try:
            aside = await self._aside(move, fault)
            there = await self._exchanges.look(move.place.target, move.operation, tidying=True)
            if aside is not None and there is None and before is not None:
                headers = ("Destination", move.place.document.url), ("Overwrite", "F")
                ended = await self._exchanges.send("MOVE", aside, move.operation, headers, tidying=True)
                aside = aside if ended.fault is not None else None  # somebody else may have come first
                there = await self._exchanges.look(move.place.target, move.operation, tidying=True)
        except MayBeDone:
            raise
        except HeadraceError as error:
            raise doubt_about(error) from error
        if aside is None and move.can_be(there) and not _known_as(there, before):
            return
        if aside is not None and (there is not None or before is None):
            await self._forget(aside, move.operation)
            if unchanged(before, there):
                raise fault
        raise doubt_about(fault) from fault

    async def _gone(self, move: "_Move") -> bool:
        """Whether the target is not there, so that the temporary document may be all there is. Another
        client's move may have taken it away just now, and be about to put its own there.
        """
        for pause in (0.0, _LATE_SECONDS, 2 * _LATE_SECONDS):
            await asyncio.sleep(pause)
            with suppress(HeadraceError):
                if await self._exchanges.look(move.place.target, move.operation, tidying=True) is not None:
                    return False
        return True

    async def _brought_to_an_end(self, move: "_Move") -> None:
        """What became of a move that nobody waits for any more: no half of it is left."""
        with suppress(HeadraceError):
            late = replace(move, operation=Operation(limits.TIDY_SECONDS))
            await self._resolve(late, move.before, BrokenOff())

    async def _aside(self, move: "_Move", fault: HeadraceError) -> Target | None:
        """Where the temporary document is now, out of the reach of a move that comes late; None where it was
        not there any more, as it was moved.
        """
        if await self._exchanges.look(move.temporary, move.operation, tidying=True) is None:
            return None
        aside = move.place.temporary()
        headers = ("Destination", aside.url), ("Overwrite", "F")
        outcome = await self._exchanges.send("MOVE", move.temporary, move.operation, headers, tidying=True)
        if outcome.status == 404:
            return None  # it was moved just now
        if outcome.fault is not None:
            if await self._exchanges.look(move.temporary, move.operation, tidying=True) is None:
                return None
            raise doubt_about(fault) from fault
        return aside

    async def _put_over(self, move: "_Move", now: Stat | None) -> tuple[int | None, str]:
        """Without MOVE: the temporary document once more, by PUT."""
        begun = False

        async def chunks() -> AsyncIterator[bytes]:
            nonlocal begun
            begun = True
            request = Request("GET", move.temporary)
            async with self._exchanges.client.exchange(request, move.operation.left) as answer:
                if answer.fault is not None:
                    raise answer.fault
                async for chunk in answer.chunks:
                    yield chunk

        data = Upload(chunks, size=move.kept.size)
        target, condition = move.place.document, put_condition(now)
        try:
            put = await self._exchanges.send("PUT", target, move.operation, condition, data, changes=True)
        except HeadraceError as error:
            raise (doubt_about(error) if begun else error) from error
        if put.fault is not None:
            raise doubt_about(put.fault) if put.doubtful else put.fault
        try:
            there = await self._exchanges.look(move.place.target, move.operation, tidying=True)
        except HeadraceError as error:
            raise doubt_about(error) from error
        if not move.can_be(there):
            raise MayBeDone
        await self._forget(move.temporary, move.operation)
        return move.result

    async def _forget(self, temporary: Target, operation: Operation, *, late: bool = False) -> None:
        """Remove a temporary document, as far as that can be done in the time left. `late`: the far server
        may only now be about to make it, as it knows nothing of the order of two connections.
        """
        for pause in (0.0, _LATE_SECONDS) if late else (0.0,):
            try:
                await asyncio.sleep(pause)
                await self._exchanges.send("DELETE", temporary, operation, tidying=True)
            except HeadraceError:
                return  # the far server is out of reach; the name tells people what is left there


@dataclass(slots=True)
class _Move:
    """A temporary document, as the far server has it, and where it is to be. `sent`: the far server may be
    moving it.
    """

    temporary: Target
    place: Place
    kept: Stat
    operation: Operation
    sent: bool = False
    before: Stat | None = None  # what the target was then

    @property
    def result(self) -> tuple[int | None, str]:
        """What `replace` returns when it is there."""
        return self.kept.size, "" if self.kept.size is None else "size"

    def can_be(self, there: Stat | None) -> bool:
        """Whether this can be the document that was filled."""
        if there is None or there.kind is not Kind.FILE:
            return False
        return None in (there.size, self.kept.size) or there.size == self.kept.size


def _known_as(there: Stat | None, before: Stat | None) -> bool:
    """Whether it is certainly the one from before, rather than another one of its size."""
    if there is None or before is None or None in (opaque_etag(there), opaque_etag(before)):
        return False
    return same_document(there, before)
