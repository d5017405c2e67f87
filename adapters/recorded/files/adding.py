"""Operations on documents and folders -> what was recorded, or what comes of them now and is then recorded.

Only what asks goes over the network: a rehearsal changes nothing at a far server.
"""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from typing import TypeVar

from adapters.errors import HeadraceError, NotRecorded
from adapters.files import FileAdapter, Listing, Reading, Stat, Target
from adapters.port import Adapter, Call, Fetched
from adapters.recorded.answers import not_reached
from adapters.recorded.files.playing import PlayingFetch, PlayingFiles
from adapters.recorded.ports import Recordings

Answer = TypeVar("Answer")


class AddingFiles(PlayingFiles):
    """Plays `recordings`, and asks `live` for what is missing; NotRecorded where no server answers."""

    def __init__(self, live: FileAdapter, recordings: Recordings) -> None:
        super().__init__(live, recordings)
        self._live = live

    async def list(self, target: Target, seconds: float) -> Listing:
        """As it was listed, or is."""
        return await _either(super().list(target, seconds), lambda: self._live.list(target, seconds))

    async def stat(self, target: Target, seconds: float) -> Stat:
        """As it was told, or is."""
        return await _either(super().stat(target, seconds), lambda: self._live.stat(target, seconds))

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """The bytes that were read, or are."""
        async with AsyncExitStack() as stack:
            yield await _either(
                stack.enter_async_context(super().read(target, offset, count, seconds)),
                lambda: stack.enter_async_context(self._live.read(target, offset, count, seconds)),
            )


class AddingFetch(PlayingFetch):
    """The same for an adapter without documents and folders."""

    def __init__(self, live: Adapter, recordings: Recordings) -> None:
        super().__init__(live, recordings)
        self._live = live

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """What was fetched, or is."""
        if call.changes:
            return await super().fetch(call, seconds)
        return await _either(super().fetch(call, seconds), lambda: self._live.fetch(call, seconds))


async def _either(played: Awaitable[Answer], live: Callable[[], Awaitable[Answer]]) -> Answer:
    try:
        return await played
    except NotRecorded as missing:
        try:
            return await live()
        except HeadraceError as fault:
            if not_reached(fault):
                raise missing from fault
            raise
