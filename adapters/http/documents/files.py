"""The file side of HTTP: what of `adapters.files` a web server can do."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractContextManager, AsyncExitStack, asynccontextmanager
from datetime import datetime
from typing import ClassVar, Final

from adapters.errors import (
    CredentialsRefused,
    HeadraceError,
    NotAllowed,
    NotPossible,
    NotThere,
    WrongDocument,
    happened_at,
)
from adapters.files import (
    A_DOCUMENT,
    A_FOLDER,
    Ability,
    Condition,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Written,
)
from adapters.http.client import HttpClient
from adapters.http.documents.listing import list_index
from adapters.http.documents.looking import kind_by_slash, look
from adapters.http.documents.places import checked
from adapters.http.documents.reading import Wanted, reading
from adapters.http.documents.writing import Put, delete, put
from adapters.http.urls import origin_text, parsed_url, url_origin

_ABOUT_FOLDERS: Final = (CredentialsRefused, NotAllowed, NotPossible, NotThere)
"""What a server may say of a folder that is asked for like a document."""


class HttpFiles(FileAdapter):
    """Documents of web servers; folders only as index pages, where a place says that it has them.

    What cannot be done whole is not done at all by an honest server, but HTTP has no rename and no
    temporary name: see adapters.http.documents.writing for what a broken PUT can leave.
    """

    can: ClassVar[Ability] = Ability.STAT | Ability.READ | Ability.RANGE | Ability.WRITE | Ability.ERASE

    def __init__(self, client: HttpClient, now: Callable[[], datetime]) -> None:
        self._client = client
        self._now = now

    def abilities(self, target: Target) -> Ability:
        """LIST where the place's folders are index pages; whether PUT is allowed only the server knows."""
        return self.can | Ability.LIST if target.index == "html" else self.can

    async def list(self, target: Target, seconds: float) -> Listing:
        """The links of an index page that lead into the folder itself."""
        if target.index != "html":
            return await super().list(target, seconds)
        with _at(target):
            return await list_index(self._client, target, seconds)

    async def stat(self, target: Target, seconds: float) -> Stat:
        """By HEAD. Where a place has index pages, what ends in a slash is a folder."""
        with _at(target):
            return (await look(self._client, target, seconds, self._now())).stat

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """By GET, with a range where less than all is wanted; taken up again where it breaks off. The index
        pages that a place has are no documents.
        """
        with _at(target):
            deadline = asyncio.get_running_loop().time() + seconds
            async with AsyncExitStack() as stack:
                wanted = reading(self._client, Wanted(target, offset, count), seconds, self._now)
                try:
                    read = await stack.enter_async_context(wanted)
                except _ABOUT_FOLDERS as fault:
                    await self._explain(target, fault, deadline - asyncio.get_running_loop().time())
                    raise
                if read.stat.kind is Kind.FOLDER:
                    await stack.aclose()
                    index = WrongDocument(A_FOLDER)
                    if target.names_folder:  # some servers ignore a slash behind a document
                        await self._explain(target, index, deadline - asyncio.get_running_loop().time())
                    raise index
                yield read

    async def _explain(self, target: Target, fault: HeadraceError, seconds: float) -> None:
        """WrongDocument where a read that fails was of a folder, or of a document with a slash at its end."""
        kind = await kind_by_slash(self._client, target, seconds) if target.index == "html" else None
        if kind is Kind.FOLDER:
            raise WrongDocument(A_FOLDER) from fault
        if kind is Kind.FILE and target.names_folder:
            raise WrongDocument(A_DOCUMENT) from fault

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """By PUT. MayBeDone for whatever happened after sending began and was not answered: a server may
        have written half of the document.
        """
        with _at(target):
            return await put(self._client, Put(target, upload, condition), seconds, self._now)

    async def erase(self, target: Target, seconds: float) -> None:
        """By DELETE; documents only, never folders."""
        with _at(target):
            await delete(self._client, target, seconds, self._now)


def _at(target: Target) -> AbstractContextManager[None]:
    """Errors in here happened at the target's server; NotAllowed for a target outside of its root."""
    return happened_at(origin_text(url_origin(parsed_url(checked(target).url))))
