"""A request -> its recorded answer, or what the network answers now, which is then recorded.

Only safe methods (RFC 9110 section 9.2.1) go over the network: a rehearsal changes nothing at a far server.
"""

from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from typing import Final

import httpcore

from adapters.addresses import Guard
from adapters.errors import NotRecorded
from adapters.http.faults import translated
from adapters.http.link.exchange import Exchange
from adapters.http.link.link import Link
from adapters.recorded.answers import not_reached
from adapters.recorded.http.playing import PlayingLink
from adapters.recorded.ports import Clock, Recordings

_SAFE: Final = (b"GET", b"HEAD")


class AddingLink(PlayingLink):
    """Plays `recordings`, and asks `live` for what is missing; NotRecorded where no server answers."""

    def __init__(self, recordings: Recordings, clock: Clock, live: Link) -> None:
        super().__init__(recordings, clock)
        self._live = live

    @asynccontextmanager
    async def answer(
        self,
        request: httpcore.Request,
        exchange: Exchange,
        guard: Guard,
        ca: str | None,
        *,
        alone: bool,
    ) -> AsyncIterator[httpcore.Response]:
        """The recorded answer, or the live one."""
        async with AsyncExitStack() as stack:
            try:
                response = await stack.enter_async_context(
                    super().answer(request, exchange, guard, ca, alone=alone)
                )
            except NotRecorded as missing:
                if request.method not in _SAFE:
                    raise
                live = self._live.answer(request, exchange, guard, ca, alone=alone)
                try:
                    response = await stack.enter_async_context(live)
                except Exception as error:
                    if not_reached(translated(error, exchange)):
                        raise missing from error
                    raise
            yield response

    async def aclose(self) -> None:
        """Close every connection."""
        await self._live.aclose()
        await super().aclose()
