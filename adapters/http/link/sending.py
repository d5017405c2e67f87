"""Upload -> the pieces of a request's body, until they end or the far server has answered.

Whatever becomes of the source, the far server never takes a part for the whole: the last piece is held back
until the source has ended well, and where it has not, the request stays incomplete and its connection is
closed (RFC 9112 section 8).
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from typing import Final

import httpcore

from adapters.errors import BrokenOff
from adapters.files import Upload
from adapters.http.link.exchange import CURRENT, Exchange

_ENDED: Final = b""
_ANSWERED: Final = "answered before the end"
_LONGER: Final = "The source is longer than it was"


async def close(source: AsyncIterator[bytes]) -> None:
    """Let an iterator that is left early end now, and not when it is collected."""
    ending = getattr(source, "aclose", None)
    if ending is not None:
        with suppress(RuntimeError):  # somebody is in it still, and ends it
            await ending()


class Sending:
    """The body of one request. `fault` is what the source raised, `complete` whether all of it went."""

    def __init__(self, upload: Upload, exchange: Exchange) -> None:
        self._upload = upload
        self._exchange = exchange
        self.fault: BaseException | None = None
        self.complete = False

    @property
    def again(self) -> Callable[[], AsyncIterator[bytes]] | None:
        """The source once more, where that is possible."""
        return self._upload.chunks if self._upload.repeatable else None

    async def prepare(self) -> None:
        """Look whether there is nothing to send, where that is so: the header section is then all of it."""
        if self._upload.size != 0:
            return
        source = self._upload.chunks()
        try:
            if await self._asked(source):
                raise self._noted(BrokenOff(_LONGER))
        finally:
            await close(source)
        self.complete = True

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """For httpcore, which takes its WriteError for a reason to look for the answer."""
        if self.complete:
            return
        source = self._upload.chunks()
        held = b""
        taken = 0
        try:
            while chunk := await self._next(source):
                taken += len(chunk)
                if self._upload.size is not None and taken > self._upload.size:
                    raise self._noted(BrokenOff(_LONGER))
                if held:
                    yield held
                held = chunk
            if self._upload.size is not None and taken < self._upload.size:
                raise self._noted(BrokenOff("The source ended too soon"))
            if held:
                yield held
            self.complete = True
        finally:
            await close(source)

    def _noted(self, fault: BaseException) -> BaseException:
        self.fault = fault
        return fault

    async def _next(self, source: AsyncIterator[bytes]) -> bytes:
        """The next piece, or none at the end; an answer meanwhile is httpcore's WriteError."""
        stream = self._exchange.stream
        if stream is None:
            return await self._asked(source)
        if stream.answered:
            raise httpcore.WriteError(_ANSWERED)
        loop = asyncio.get_running_loop()
        try:
            async with asyncio.timeout(None) as waiting:

                def look() -> None:
                    if stream.answered and not waiting.expired():
                        waiting.reschedule(loop.time())

                stream.watch(look)
                return await self._asked(source)
        except TimeoutError as error:
            if not waiting.expired():
                raise
            raise httpcore.WriteError(_ANSWERED) from error
        finally:
            stream.watch(_ignore)

    async def _asked(self, source: AsyncIterator[bytes]) -> bytes:
        """The next piece that has bytes. The source runs outside of this exchange: it may have its own."""
        token = CURRENT.set(None)
        try:
            async for chunk in source:
                if chunk:
                    return chunk
        except asyncio.CancelledError:
            raise
        except BaseException as error:
            self.fault = error
            raise
        finally:
            CURRENT.reset(token)
        return _ENDED


def _ignore() -> None:
    """While a write waits, the stream itself looks for an answer."""
