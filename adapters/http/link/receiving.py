"""A response -> its body's pieces, as they come, within a deadline.

A large body whose length is announced is read from the connection itself once its first piece is here: what
httpcore has gathered by then is in that piece, and after it every byte would be copied five times for nothing
but counting, which is done here. Such a connection is not kept. Where somebody on the way has put EVERY_PIECE
into the response's extensions, all of it goes by way of httpcore nevertheless.

Codings (RFC 9110 section 8.4): none is asked for. gzip is decoded nevertheless, in bounded steps, except
where the path's name ends as compressed files' names do: servers label a stored `.gz` so, and what is
stored is what is wanted. Every other coding is WrongDocument.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Final

import httpcore

from adapters import limits
from adapters.errors import BrokenOff, WrongDocument
from adapters.http.answer.bodies import Expander, is_gzip
from adapters.http.answer.fields import Fields
from adapters.http.link.link import drain
from adapters.http.link.sending import close
from adapters.http.link.streams import Stream

EVERY_PIECE: Final = "every_piece"

_STORED_PACKED: Final = (b".gz", b".tgz", b".svgz", b".z", b".taz")
_DIRECT_BYTES: Final = 1 << 20  # from where on a fresh connection costs less than the copying


class Receiving:
    """The body of one response. `decoded`: its bytes are not those that were sent.

    `fault` translates what goes wrong; `kept`: the connection may serve others afterwards.
    """

    def __init__(
        self,
        response: httpcore.Response,
        fields: Fields,
        deadline: float,
        fault: Callable[[Exception], Exception],
        *,
        path: bytes,
        bodiless: bool,
        kept: bool,
    ) -> None:
        self._response = response
        self._deadline = deadline
        self._fault = fault
        self._kept = kept
        self._bodiless = bodiless or response.status in (204, 205, 304)
        self.length: int | None = None
        announced = fields.first("content-length") or ""
        chunked = fields.first("transfer-encoding") is not None
        if announced.isdecimal() and not chunked and not self._bodiless:
            self.length = int(announced)  # h11 has refused more than 20 digits
        self._drainable = self._bodiless or chunked or (self.length or 0) <= limits.DRAIN_BYTES
        self._refusal: WrongDocument | None = None
        self.decoded = False
        try:
            gzip = is_gzip(fields.joined("content-encoding"))
            self.decoded = gzip and not path.lower().endswith(_STORED_PACKED)
        except WrongDocument as error:
            self._refusal = error  # for who reads it; the status has been heard
        self._raw = response.aiter_stream()
        self._open: list[AsyncIterator[bytes]] = [self._raw]
        self._over = False

    def chunks(self) -> AsyncIterator[bytes]:
        """The pieces; none is empty. To be called once."""
        chunks = self._chunks()
        self._open.append(chunks)
        return chunks

    async def _chunks(self) -> AsyncIterator[bytes]:
        expander = Expander() if self.decoded else None
        pieces = self._pieces()
        self._open.append(pieces)
        try:
            while True:
                async with asyncio.timeout_at(self._deadline):
                    piece = await anext(pieces, None)
                if piece is None:
                    break
                if expander is None:
                    yield piece
                else:
                    for part in expander.feed(piece):
                        yield part
            self._over = True
            if expander is not None and (part := expander.finish()):
                yield part
        except Exception as error:
            self._over = True
            fault = self._fault(error)
            if fault is error:
                raise
            raise fault from error

    async def finish(self) -> None:
        """Leave the connection so that it can be used again, where that costs little."""
        if self._kept and not self._over and self._drainable:
            await drain(self._raw)

    async def close(self) -> None:
        """Nothing is read any more."""
        for each in reversed(self._open):
            await close(each)

    async def _pieces(self) -> AsyncIterator[bytes]:
        if self._refusal is not None:
            raise self._refusal
        stream = self._response.extensions["network_stream"]
        large = self.length is not None and self.length > _DIRECT_BYTES
        direct = large and isinstance(stream, Stream) and EVERY_PIECE not in self._response.extensions
        left = self.length or 0
        async for piece in self._raw:
            left -= len(piece)
            if piece:
                yield piece
            if direct:
                break
        while direct and left > 0:
            piece = await stream.read(min(left, limits.READ_AHEAD_BYTES), limits.STALL_SECONDS)
            if not piece:
                raise BrokenOff
            left -= len(piece)
            yield piece
