"""A request -> its answer up to the end of the header section, on a kept connection or one of its own."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import Final

import httpcore

from adapters import limits
from adapters.addresses import Guard, Resolver
from adapters.http.link.exchange import Exchange
from adapters.http.link.gate import Gate
from adapters.http.link.logs import silence_libraries
from adapters.http.link.pools import Pools
from adapters.http.link.streams import Connect, Stream, open_stream
from adapters.resolver import SystemResolver

_DEAD: Final = (httpcore.ReadError, httpcore.WriteError, httpcore.RemoteProtocolError)


class Link:
    """What every exchange of one adapter shares: turns, connections, the rule where they may go.

    Uploads have turns of their own: what copies within one far server holds a turn for reading while it
    waits for one to write, and enough of those would wait for each other.
    """

    def __init__(self, resolve: Resolver | None = None, connect: Connect = open_stream) -> None:
        silence_libraries()
        self.calls = Gate(limits.CALLS, limits.CALLS_PER_ORIGIN)
        self.uploads = Gate(limits.CALLS, limits.CALLS_PER_ORIGIN)
        self.pools = Pools(resolve or SystemResolver(), connect)

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
        """The answer, closed afterwards, whatever is left of it.

        `alone`: on a connection of its own and once. Otherwise it is sent once more where the kept
        connection that it was sent on turns out to be dead (RFC 9112 section 9.3.1).
        """
        scheme = request.url.scheme.decode("ascii")
        single: httpcore.AsyncHTTPConnection | None = None
        response: httpcore.Response | None = None
        try:
            if not alone:
                exchange.begin_request()
                pool = await self.pools.pool(scheme, ca, guard)
                try:
                    response = await pool.handle_async_request(request)
                except _DEAD:
                    if exchange.dialled:
                        raise
                else:
                    if _left_over(response):
                        await response.aclose()
                        response = None
            if response is None:
                exchange.begin_request()
                single = self.pools.single(scheme, ca, guard, request.url.origin)
                response = await single.handle_async_request(request)
            if not response.extensions["http_version"].startswith(b"HTTP/1."):
                raise httpcore.RemoteProtocolError("another version")  # h11 takes any (RFC 9112 section 2.3)
            exchange.answered, exchange.status = True, response.status
            yield response
        finally:
            if response is not None:
                await response.aclose()
            if single is not None:
                await single.aclose()

    async def aclose(self) -> None:
        """Close every connection; exchanges under way break off."""
        await self.pools.aclose()


def connect_seconds(response: httpcore.Response, exchange: Exchange) -> float:
    """How long it took to connect for this answer; nothing on a kept connection."""
    stream = response.extensions["network_stream"]
    return stream.connect_seconds if exchange.dialled and isinstance(stream, Stream) else 0.0


async def drain(chunks: AsyncIterator[bytes]) -> None:
    """Read an unwanted body if it is small and here, so that its connection can be used again."""
    room = limits.DRAIN_BYTES
    with suppress(TimeoutError, httpcore.TimeoutException, httpcore.NetworkError, httpcore.ProtocolError):
        async with asyncio.timeout(limits.DRAIN_SECONDS):
            async for data in chunks:
                room -= len(data)
                if room < 0:
                    return


def _left_over(response: httpcore.Response) -> bool:
    """Whether the answer was there before its request: what an earlier answer sent too much."""
    stream = response.extensions["network_stream"]
    return isinstance(stream, Stream) and stream.answered_unasked
