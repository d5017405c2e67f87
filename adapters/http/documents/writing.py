"""Target and Upload -> a document put (RFC 9110 section 9.3.4), or one deleted (section 9.3.5).

HTTP has no way to try a change first: a server may write into the document as the bytes come in, so that a
request that breaks off leaves half of it. Whatever happens once sending began, and was not answered as not
done, is therefore MayBeDone, the failing of the upload's own source too.

Conditions are sent (If-Match with a strong entity tag, else If-Unmodified-Since, or If-None-Match: *; RFC
9110 section 13.1) and looked at beforehand as well, as many servers ignore them on PUT.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from adapters.errors import (
    BrokenOff,
    HeadraceError,
    MayBeDone,
    NotPossible,
    NotThere,
    TooSlow,
    WrongDocument,
)
from adapters.files import A_FOLDER, NO_FOLDER, Condition, Kind, Stat, Target, Upload, Was, Written, unmet
from adapters.http.answer.validators import strong_etag
from adapters.http.client import HttpClient, Request
from adapters.http.documents.looking import kind_by_slash, look
from adapters.http.documents.places import is_folder_url, parent
from adapters.http.link.sending import close

_DONE: Final = frozenset({200, 201, 203, 204, 205})  # not 202: to be done later, perhaps
_ABOUT_FOLDERS: Final = frozenset({400, 403, 404, 405, 409})  # what servers say where one is, or is missing
_NO_FOLDERS: Final = "Folders are not erased over HTTP"

Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Put:
    """`upload` in the place of what is at `target`, if that is as `condition` says."""

    target: Target
    upload: Upload
    condition: Condition


async def put(client: HttpClient, change: Put, seconds: float, now: Clock) -> Written:
    """The change, and a look at the document's size afterwards."""
    target, condition = change.target, change.condition
    if is_folder_url(target.url):
        raise WrongDocument(A_FOLDER)
    deadline = asyncio.get_running_loop().time() + seconds
    await _look_before(client, target, condition, seconds, now)
    try:
        async with asyncio.timeout_at(deadline):
            source = await _Source.of(change.upload)
    except TimeoutError as error:
        raise TooSlow from error
    request = Request("PUT", target, headers=_conditions(condition), body=source.upload, changes=True)
    try:
        async with client.exchange(request, _left(deadline)) as answer:
            status, fault = answer.status, answer.fault
    except Exception as error:
        # BrokenOff: of a change that can only be a source of another size than it said.
        if source.fault is not None or (isinstance(error, BrokenOff) and not source.lies_at_once):
            raise MayBeDone from error
        raise
    finally:
        await source.close()
    if status in _ABOUT_FOLDERS or status >= 500:
        if await _is_folder(client, target, _left(deadline), now):
            raise WrongDocument(A_FOLDER)
        folder = parent(target)
        if not await _is_there(client, folder, _left(deadline), now):
            raise NotThere(NO_FOLDER)
        if target.index == "html" and await kind_by_slash(client, folder, _left(deadline)) is Kind.FILE:
            raise NotThere(NO_FOLDER)
    if fault is not None:
        raise fault
    if status not in _DONE:
        raise MayBeDone
    checked = await _look_after(client, target, source.size, _left(deadline), now)
    return Written(source.size, checked, answer.steps)


async def delete(client: HttpClient, target: Target, seconds: float, now: Clock) -> None:
    """The document is gone. Folders are not touched: servers that take DELETE for them take all that is in
    them, whatever it is.
    """
    deadline = asyncio.get_running_loop().time() + seconds
    if is_folder_url(target.url) or (await look(client, target, seconds, now())).leads_to_folder(target):
        raise NotPossible(_NO_FOLDERS)
    async with client.exchange(Request("DELETE", target, changes=True), _left(deadline)) as answer:
        status, fault = answer.status, answer.fault
    if fault is not None:
        raise fault
    if status not in _DONE:
        raise MayBeDone


def _left(deadline: float) -> float:
    return deadline - asyncio.get_running_loop().time()


def _conditions(condition: Condition) -> tuple[tuple[str, str], ...]:
    if condition is Was.NOTHING:
        return (("If-None-Match", "*"),)
    if isinstance(condition, Stat):
        tag = strong_etag(condition.validators)
        if tag is not None:
            return (("If-Match", tag),)
        if condition.validators.etag is None and condition.validators.last_modified is not None:
            return (("If-Unmodified-Since", condition.validators.last_modified),)
    return ()


async def _look_before(
    client: HttpClient, target: Target, condition: Condition, seconds: float, now: Clock
) -> None:
    if condition is Was.ANYTHING:
        return
    try:
        looked = await look(client, target, seconds, now())
    except NotThere:
        if condition is Was.NOTHING:
            return
        raise unmet(condition) from None
    if looked.leads_to_folder(target):
        raise WrongDocument(A_FOLDER)
    if isinstance(condition, Was) or not _same(looked.stat, condition):
        raise unmet(condition)


def _same(found: Stat, seen: Stat) -> bool:
    """Whether nothing speaks against it."""
    if found.validators.etag is not None and seen.validators.etag is not None:
        return found.validators.etag == seen.validators.etag
    sizes = found.size is None or seen.size is None or found.size == seen.size
    times = found.modified is None or seen.modified is None or found.modified == seen.modified
    return sizes and times


async def _look_after(client: HttpClient, target: Target, size: int, seconds: float, now: Clock) -> str:
    """By what the document was verified; MayBeDone where it is there, and not as large as what was sent."""
    try:
        found = (await look(client, target, seconds, now())).stat
    except HeadraceError:
        return ""  # it said that it was done, and cannot be asked
    if found.size is None:
        return ""
    if found.size != size:
        raise MayBeDone
    return "size"


async def _is_folder(client: HttpClient, target: Target, seconds: float, now: Clock) -> bool:
    """Whether the server shows a folder in the document's place."""
    try:
        return (await look(client, target, seconds, now())).leads_to_folder(target)
    except HeadraceError:
        return False


async def _is_there(client: HttpClient, folder: Target, seconds: float, now: Clock) -> bool:
    """Whether a folder may be there: only a clear answer says that it is not."""
    try:
        await look(client, folder, seconds, now())
    except NotThere:
        return False
    except HeadraceError:
        return True
    return True


class _Source:
    """An upload whose bytes are counted and whose failure is told from the far server's."""

    def __init__(self, upload: Upload) -> None:
        self._upload = upload
        self._begun: AsyncIterator[bytes] | None = None
        self._first: bytes | None = None
        self.upload = replace(upload, chunks=self._chunks)
        self.size = 0
        self.fault: BaseException | None = None

    @classmethod
    async def of(cls, upload: Upload) -> "_Source":
        """With its first bytes here: one that fails at once has sent nothing."""
        source = cls(upload)
        source._begun = upload.chunks()
        source._first = await anext(source._begun, None)
        return source

    @property
    def lies_at_once(self) -> bool:
        """Whether it said that it has nothing, and has something: that is seen before anything is sent."""
        return self._upload.size == 0

    async def _chunks(self) -> AsyncIterator[bytes]:
        self.size = 0
        source, first = self._begun, self._first
        self._begun = self._first = None
        if source is None:  # once more, for a redirect
            source = self._upload.chunks()
        try:
            if first is not None:
                self.size += len(first)
                yield first
            async for chunk in source:
                self.size += len(chunk)
                yield chunk
        except Exception as error:
            self.fault = error
            raise
        finally:
            await close(source)

    async def close(self) -> None:
        """Where nobody took the bytes."""
        if self._begun is not None:
            await close(self._begun)
