"""wishes -> so many granted at once, and so many at one far server; others wait, and those beyond are told.

One far server that hangs can take a share of all turns (1 / limits.SERVERS_AT_ONCE): the rest is for who asks
others.
"""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Final

from adapters import limits
from adapters.errors import GatewayFull
from gateway.catalogue.model import Catalogue
from gateway.service.breaker import origin_of
from gateway.service.clients.granting import Fulfiller
from gateway.service.running.metrics import Number
from gateway.session.wishes import DeliverWish, Granted, SayWish, SourceWish, Wish, WorkWish

_FULL: Final = "Too many requests at once; try again"


class Crowd:
    """A `Fulfiller` in front of another, shared by all clients. `catalogue` is asked anew each time.

    What was begun is not held up: what is said on an open stream, what is delivered, and laying out.
    """

    def __init__(self, catalogue: Callable[[], Catalogue], others: Fulfiller) -> None:
        self._catalogue, self._others = catalogue, others
        self._busy: Counter[str] = Counter()  # by far server
        self._count = 0  # of all
        self._waiting: list[tuple[str, asyncio.Future[None]]] = []

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting takes no room."""
        return self._others.now(wish)

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """As the others do. GatewayFull: too many wait already, or it waited for all of `seconds`."""
        if isinstance(wish, SayWish | WorkWish | DeliverWish):
            return await self._others.answer(wish, seconds)
        loop = asyncio.get_running_loop()
        ends = loop.time() + seconds
        async with self._turn(_server_of(wish), ends):
            return await self._others.answer(wish, ends - loop.time())

    @property
    def numbers(self) -> list[Number]:
        """How many there are, for who collects that."""
        return [
            Number("requests_at_once", "Requests that are worked on", lambda: self._count),
            Number("requests_waiting", "Requests that wait for others", lambda: len(self._waiting)),
        ]

    @asynccontextmanager
    async def _turn(self, server: str, ends: float) -> AsyncIterator[None]:
        if self._has_room(server):
            self._enter(server)
        else:
            await self._wait(server, ends)
        try:
            yield
        finally:
            self._leave(server)

    async def _wait(self, server: str, ends: float) -> None:
        settings = self._catalogue().gateway
        if len(self._waiting) >= (settings.clients if settings.queue is None else settings.queue):
            raise GatewayFull(_FULL)
        mine = server, asyncio.get_running_loop().create_future()
        self._waiting.append(mine)
        try:
            async with asyncio.timeout_at(ends):
                await mine[1]
        except (TimeoutError, asyncio.CancelledError) as error:
            if mine in self._waiting:
                self._waiting.remove(mine)
            else:
                self._leave(server)  # its turn has just come
            if isinstance(error, TimeoutError):
                raise GatewayFull(_FULL) from error
            raise

    def _has_room(self, server: str) -> bool:
        most = self._catalogue().gateway.at_once
        share = max(1, most // limits.SERVERS_AT_ONCE)
        return self._count < most and (not server or self._busy[server] < share)

    def _enter(self, server: str) -> None:
        self._busy[server] += 1
        self._count += 1

    def _leave(self, server: str) -> None:
        self._count -= 1
        self._busy[server] -= 1
        if not self._busy[server]:
            del self._busy[server]
        for each in list(self._waiting):
            if not self._has_room(""):
                return
            if not each[1].done() and self._has_room(each[0]):  # who has given up leaves by itself
                self._waiting.remove(each)
                self._enter(each[0])
                each[1].set_result(None)


def _server_of(wish: Wish) -> str:
    """Whom it asks, as far as that is known yet; empty for nobody, or this computer."""
    if isinstance(wish, SourceWish):
        url = wish.source.url
        return origin_of(url) if "://" in url else url.partition(":")[0]
    ref = getattr(wish, "ref", None)
    return "" if ref is None else origin_of(ref.url)
