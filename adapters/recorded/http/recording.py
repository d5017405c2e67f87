"""A live exchange -> the same, and a recording of it: what the body gives is kept as it is read.

A body that came gzipped is kept expanded, so that people can read and edit it. What its reader leaves unread
is not there when it is played: such an answer is kept with the length that was announced, and not at all
where none was. An exchange that its caller gives up is not kept; that no answer came in time is.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Final

import httpcore

from adapters.addresses import Guard, Resolver
from adapters.errors import HeadraceError, NotAllowed, TooSlow, WrongDocument
from adapters.http.answer.bodies import Expander, is_gzip
from adapters.http.answer.fields import Fields
from adapters.http.faults import translated
from adapters.http.link.exchange import Exchange
from adapters.http.link.link import Link
from adapters.http.link.receiving import EVERY_PIECE
from adapters.http.link.streams import Connect, open_stream
from adapters.recorded.asking import is_late
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Asked, Failure, Headers, Message
from adapters.recorded.failures import failure_of
from adapters.recorded.http.requests import asked_of, copied
from adapters.recorded.ports import Draft, Recorder

_OF_THE_LINE: Final = frozenset({"connection", "keep-alive", "transfer-encoding", "content-length"})
_BODILESS: Final = frozenset({204, 205, 304})


class RecordingLink(Link):
    """A link to far servers whose exchanges `recorder` takes in."""

    def __init__(
        self, recorder: Recorder, resolve: Resolver | None = None, connect: Connect = open_stream
    ) -> None:
        super().__init__(resolve, connect)
        self._recorder = recorder

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
        """As live; kept when it is over."""
        draft = self._recorder.draft()
        body: _ReadBody | None = None
        with copied(request) as sent:
            try:
                async with super().answer(request, exchange, guard, ca, alone=alone) as response:
                    body = _ReadBody(request.method, response, exchange, draft)
                    response.stream = body
                    response.extensions = {**response.extensions, EVERY_PIECE: True}
                    yield response
            except asyncio.CancelledError as cancelled:
                if body is None:
                    exchange.late = _late(draft, asked_of(request, sent.content()), exchange)
                    if is_late(cancelled):
                        exchange.time_is_up()
                elif not body.whole:
                    body = None
                raise
            except Exception as error:
                fault = translated(error, exchange)
                if body is None and not isinstance(fault, NotAllowed):  # which is the gateway's own rule
                    await _keep(draft, request, sent, failure_of(fault, sent=exchange.sent))
                raise
            finally:
                if body is not None:
                    await _keep(draft, request, sent, body.message())
                if exchange.late is None:
                    draft.drop()


def _late(draft: Draft, asked: Asked, exchange: Exchange) -> Callable[[], None] | None:
    """What keeps that no answer came in time, where that was why it was given up. None where what was sent is
    too much to be held for that.
    """
    if asked.body is not None and asked.body.path is not None:
        return None
    failure = failure_of(TooSlow(), sent=exchange.sent)
    return lambda: draft.keep(asked, failure)


async def _keep(
    draft: Draft, request: httpcore.Request, sent: Copied, reply: Message | Failure | None
) -> None:
    if reply is None:
        return
    await sent.complete()
    if not sent.failed:
        draft.keep(asked_of(request, sent.content()), reply)


class _ReadBody:
    """A response's body on its way to its reader."""

    def __init__(self, method: bytes, response: httpcore.Response, exchange: Exchange, draft: Draft) -> None:
        self._response = response
        self._stream = response.stream
        self._exchange = exchange
        self._draft = draft
        self._fields = Fields(response.headers)
        self._head = method == b"HEAD"
        self._none = self._head or response.status in _BODILESS
        self._failure: Failure | None = None
        self._expander = self._expand()
        self.whole = self._none

    def _expand(self) -> Expander | None:
        try:
            return Expander() if is_gzip(self._fields.joined("content-encoding")) else None
        except WrongDocument:  # kept as it came: whoever plays it finds it as wrong
            return None

    async def __aiter__(self) -> AsyncIterator[bytes]:
        assert not isinstance(self._stream, bytes)
        try:
            async for chunk in self._stream:  # type: ignore[union-attr]
                self._take(chunk)
                yield chunk
        except Exception as error:
            self._failure = self._failure or self._broken(translated(error, self._exchange))
            raise
        self.whole = True

    def _take(self, chunk: bytes) -> None:
        if self._failure is not None:
            return
        try:
            for piece in (chunk,) if self._expander is None else self._expander.feed(chunk):
                self._draft.add(piece)
        except HeadraceError as fault:
            self._failure = self._broken(fault)

    def _broken(self, fault: HeadraceError) -> Failure:
        return failure_of(fault, sent=self._exchange.sent)

    async def aclose(self) -> None:
        """What httpcore ends every body with."""
        close = getattr(self._stream, "aclose", None)
        if close is not None:
            await close()

    def message(self) -> Message | None:
        """What came; None where it cannot be played: left by its reader, and nobody knows how long it is."""
        if self._expander is not None and self.whole and self._failure is None:
            try:
                self._draft.add(self._expander.finish())
            except HeadraceError as fault:
                self._failure = self._broken(fault)
        squeezed = self._expander is not None and self._expander.packed and not self._none
        length = None if squeezed else self._announced()
        wanted = self._response.status < 300  # of any other answer nobody needs the whole body
        left = not self.whole and self._failure is None
        if wanted and left and length is None:
            return None
        cut = wanted and (left or self._failure is not None)
        return Message(
            status=self._response.status,
            headers=self._headers(decoded=self._expander is not None),
            content=None if self._none else self._draft.content(),
            squeezed=squeezed,
            length=length if cut or self._head else None,
            failure=self._failure if wanted else None,
        )

    def _announced(self) -> int | None:
        announced = self._fields.first("content-length") or ""
        return int(announced) if announced.isdecimal() else None

    def _headers(self, *, decoded: bool) -> Headers:
        dropped = _OF_THE_LINE | ({"content-encoding"} if decoded else set())
        pairs = ((name.decode("latin-1"), value.decode("latin-1")) for name, value in self._response.headers)
        return tuple((name, value) for name, value in pairs if name.lower() not in dropped)
