"""A request -> the answer that was recorded for it, without any network.

Everything above the link works as it does live: redirects, cookies, statuses, ranges, freshness. A change is
answered as it was when it was recorded, and nothing changes anywhere.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import NoReturn

import httpcore

from adapters.addresses import Guard
from adapters.errors import NoRoom, NotRecorded
from adapters.http.link.exchange import Exchange
from adapters.http.link.link import Link
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Asked, Failure, Message
from adapters.recorded.exchange import Exchange as Recorded
from adapters.recorded.failures import bytes_of, fault_of, from_disk, not_recorded
from adapters.recorded.http.choosing import TOLD_APART, Part, fitting, header, served
from adapters.recorded.http.requests import asked_of, copied
from adapters.recorded.http.times import moved
from adapters.recorded.ports import Clock, Recordings
from adapters.recorded.turns import Turns


class PlayingLink(Link):
    """A link that leads nowhere but to `recordings`. Answers are dated by `clock`."""

    def __init__(self, recordings: Recordings, clock: Clock) -> None:
        super().__init__(_no_network, _no_network)
        self._recordings = recordings
        self._clock = clock
        self._turns = Turns()

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
        """The recorded answer; NotRecorded where there is none, the recorded failure where it failed."""
        exchange.begin_request()
        with copied(request) as sent:
            asked = await _sent(request, sent)
            recorded = self._next(asked)
            exchange.dialled = True
            if isinstance(recorded.reply, Failure):
                exchange.sent |= recorded.reply.sent
                raise fault_of(recorded.reply)
            assert isinstance(recorded.reply, Message)
            with from_disk():
                message, part = served(asked, recorded.reply)
            exchange.sent = exchange.answered = True
            exchange.status = message.status
            yield self._response(asked, recorded, message, part)

    def _next(self, asked: Asked) -> Recorded:
        """Whose turn it is of what was recorded for that request; NotRecorded where nothing was."""
        found = self._recordings.find(asked)
        if not found and asked.method == "HEAD":
            found = self._recordings.find(replace(asked, method="GET"))
        fit = fitting(asked, found)
        if not fit:
            raise not_recorded(self._recordings, asked)
        recorded = self._turns.next(fit, tuple(header(asked.headers, name) for name in TOLD_APART))
        self._recordings.used(recorded)
        return recorded

    def _response(self, asked: Asked, recorded: Recorded, message: Message, part: Part) -> httpcore.Response:
        length = part.end - part.start if message.length is None else message.length
        headers = moved(message.headers, recorded.at, self._clock())
        unknown = asked.method == "HEAD" and message.content is None and message.length is None
        if message.status not in (204, 304) and message.failure is None and not unknown:
            headers = (*headers, ("Content-Length", str(length)))
        return httpcore.Response(
            message.status,
            headers=[(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers],
            content=_body(asked, message, part, length),
            extensions={"network_stream": None},
        )


async def _body(asked: Asked, message: Message, part: Part, length: int) -> AsyncIterator[bytes]:
    if asked.method == "HEAD":
        return
    left = part.end - part.start
    if part.content is not None:
        for chunk in bytes_of(part.content, part.start):
            if left <= 0:
                break
            yield chunk[:left]
            left -= len(chunk)
    if message.failure is not None:
        raise fault_of(message.failure)
    if part.end - part.start < length:
        raise NotRecorded("Offline: the rest was not recorded")


async def _sent(request: httpcore.Request, sent: Copied) -> Asked:
    """The request, after its body was taken in whole."""
    async for _ in sent:
        pass
    if sent.failed:
        raise NoRoom
    return asked_of(request, sent.content())


async def _no_network(*_: object) -> NoReturn:
    raise NotRecorded("Offline: no network is asked")  # pragma: no cover — nothing goes past `answer`
