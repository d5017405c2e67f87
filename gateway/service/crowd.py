"""wishes -> so many granted at once, and so many at one far server; others wait, and those beyond are told.

Of what they fetch so many large documents are in memory at one time, by the same rule.
"""

import asyncio
from collections.abc import Callable
from typing import Final

from adapters import limits
from adapters.errors import GatewayFull
from adapters.in_hand import holding
from gateway.catalogue.model import Catalogue
from gateway.service.breaker import origin_of
from gateway.service.clients.granting import Fulfiller
from gateway.service.running.metrics import Number
from gateway.service.shares import Shares
from gateway.session.wishes import DeliverWish, Granted, SayWish, SourceWish, Wish, WorkWish

_FULL: Final = "Too many requests at once; try again"
_LARGE: Final = "Too many large documents at once"
_ENOUGH: Final = 0.5  # of a request's time; whoever waited for longer would seem to be kept waiting far away
_PATIENCE: Final = 0.8  # of a request's time; then it is told, before the far server seems to be late


class Crowd:
    """A `Fulfiller` in front of another, shared by all clients. `catalogue` is asked anew each time.

    What was begun is not held up: what is said on an open stream, what is delivered, and laying out.
    """

    def __init__(self, catalogue: Callable[[], Catalogue], others: Fulfiller) -> None:
        self._catalogue, self._others = catalogue, others
        self._requests = Shares(lambda: catalogue().gateway.at_once, self._queue, _FULL)
        self._large = Shares(lambda: limits.LARGE_AT_ONCE, self._queue, _LARGE)

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting takes no room."""
        return self._others.now(wish)

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """As the others do. GatewayFull: too many wait already, or it has waited for half of `seconds`: what
        would be begun then would seldom be done in time, and keep others from theirs.
        """
        if isinstance(wish, SayWish | WorkWish | DeliverWish):
            return await self._others.answer(wish, seconds)
        loop = asyncio.get_running_loop()
        ends, server = loop.time() + seconds, _server_of(wish)
        await self._requests.take(server, ends)
        left = ends - loop.time()
        try:
            if left < _ENOUGH * seconds:
                raise GatewayFull(_FULL)
            with holding(_Large(self._large, server, ends - (1 - _PATIENCE) * left)):
                return await self._others.answer(wish, left)
        finally:
            self._requests.give_back(server)

    def _queue(self) -> int:
        settings = self._catalogue().gateway
        return settings.clients if settings.queue is None else settings.queue

    @property
    def numbers(self) -> list[Number]:
        """How many there are, for who collects that."""
        return [
            Number("requests_at_once", "Requests that are worked on", lambda: self._requests.count),
            Number("requests_waiting", "Requests that wait for others", lambda: self._requests.waiting),
            Number("large_at_once", "Large documents in memory", lambda: self._large.count),
        ]


class _Large:
    """Turns of large documents, for one request."""

    def __init__(self, shares: Shares, server: str, ends: float) -> None:
        self._shares, self._server, self._ends = shares, server, ends

    async def take(self) -> None:
        await self._shares.take(self._server, self._ends)

    def give_back(self) -> None:
        self._shares.give_back(self._server)


def _server_of(wish: Wish) -> str:
    """Whom it asks, as far as that is known yet; empty for nobody, or this computer."""
    if isinstance(wish, SourceWish):
        url = wish.source.url
        return origin_of(url) if "://" in url else url.partition(":")[0]
    ref = getattr(wish, "ref", None)
    return "" if ref is None else origin_of(ref.url)
