"""The file side of HTTP: what of `adapters.files` a web server can do."""

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from datetime import datetime
from typing import ClassVar

from adapters.files import (
    Ability,
    Condition,
    FileAdapter,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Written,
)
from adapters.http.client import HttpClient
from adapters.http.documents.listing import list_index
from adapters.http.documents.looking import look
from adapters.http.documents.places import checked
from adapters.http.documents.reading import Wanted, reading
from adapters.http.documents.writing import Put, delete, put


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
        return await list_index(self._client, checked(target), seconds)

    async def stat(self, target: Target, seconds: float) -> Stat:
        """By HEAD. Where a place has index pages, what ends in a slash is a folder."""
        return (await look(self._client, checked(target), seconds, self._now())).stat

    def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AbstractAsyncContextManager[Reading]:
        """By GET, with a range where less than all is wanted; taken up again where it breaks off."""
        return reading(self._client, Wanted(checked(target), offset, count), seconds, self._now)

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """By PUT. MayBeDone for whatever happened after sending began and was not answered: a server may
        have written half of the document.
        """
        return await put(self._client, Put(checked(target), upload, condition), seconds, self._now)

    async def erase(self, target: Target, seconds: float) -> None:
        """By DELETE; documents only, never folders."""
        await delete(self._client, checked(target), seconds, self._now)
