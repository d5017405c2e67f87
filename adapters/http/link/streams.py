"""A checked address -> a byte stream for httpcore, plain or TLS.

Not httpcore's own stream, for three reasons: an idle connection notices at once that it was closed or that
unasked bytes came in, also inside TLS; errors come out as what they mean; and it costs less per read.
"""

import asyncio
import ssl
from collections import deque
from collections.abc import Awaitable, Callable
from typing import Any

import httpcore

from adapters import limits
from adapters.addresses import Address
from adapters.errors import CannotConnect, TooLarge, Untrusted
from adapters.http.link.exchange import CURRENT
from adapters.http.link.status_line import final_status


class _Inbox(asyncio.Protocol):
    """Bytes in, until somebody asks for them. Reading pauses above limits.READ_AHEAD_BYTES.

    Pieces are kept as they came, so that a large body is not copied on its way.
    """

    def __init__(self) -> None:
        self.pieces: deque[bytes] = deque()
        self.held = 0
        self._given = 0  # of the first piece
        self.ended = False
        self.fault: Exception | None = None
        self.on_arrival: Callable[[], None] | None = None
        self._transport: asyncio.Transport | None = None
        self._arrival: asyncio.Future[None] | None = None
        self._room: asyncio.Future[None] | None = None
        self._paused = False
        self._full = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        self.pieces.append(data)
        self.held += len(data)
        if self.held > limits.READ_AHEAD_BYTES and not self._paused and self._transport is not None:
            self._paused = True
            self._transport.pause_reading()
        self._arrived()

    def eof_received(self) -> bool:
        self.ended = True
        self._arrived()
        return False  # the transport closes: nothing is said on a connection that the other side left

    def connection_lost(self, exc: Exception | None) -> None:
        self.ended = True
        self.fault = self.fault or exc
        self._full = False
        self._arrived()
        _wake(self._room)

    def pause_writing(self) -> None:
        self._full = True

    def resume_writing(self) -> None:
        self._full = False
        _wake(self._room)

    @property
    def answered(self) -> bool:
        """Whether a final answer begins to come in, or nothing will any more."""
        return self.ended or (self.held > 0 and final_status(b"".join(self.pieces)[self._given :]))

    async def take(self, most: int, patience: float | None) -> bytes:
        """At least one byte, or none at the end. Raises what broke the connection, httpcore's ReadTimeout
        after `patience` seconds without a byte.
        """
        if not self.pieces and not self.ended:
            try:
                async with asyncio.timeout(patience):
                    while not self.pieces and not self.ended:
                        self._arrival = asyncio.get_running_loop().create_future()
                        await self._arrival
            except TimeoutError as error:
                raise httpcore.ReadTimeout("nothing came") from error
        if not self.pieces and self.fault is not None:
            raise self.fault
        if not self.pieces:
            return b""
        data = self.pieces[0]
        if self._given or len(data) > most:
            data = data[self._given : self._given + most]
        self._given += len(data)
        if self._given == len(self.pieces[0]):
            self.pieces.popleft()
            self._given = 0
        self.held -= len(data)
        few = self.held <= limits.READ_AHEAD_BYTES // 2
        if self._paused and few and self._transport is not None and not self.ended:
            self._paused = False
            self._transport.resume_reading()
        return data

    async def drained(self, patience: float | None) -> bool:
        """Wait until the transport takes more bytes; false where an answer came first and is watched for.
        TimeoutError where it took none for `patience` seconds.
        """
        while self._full:
            if self.on_arrival is not None and self.answered:
                return False
            waiting = self._waiting
            try:
                async with asyncio.timeout(patience):
                    self._room = asyncio.get_running_loop().create_future()
                    await self._room
            except TimeoutError:
                if self._waiting >= waiting:
                    raise
        return True

    @property
    def _waiting(self) -> int:
        return 0 if self._transport is None else self._transport.get_write_buffer_size()

    def _arrived(self) -> None:
        _wake(self._arrival)
        if self.on_arrival is not None:
            _wake(self._room)
            self.on_arrival()


def _wake(waiting: asyncio.Future[None] | None) -> None:
    if waiting is not None and not waiting.done():
        waiting.set_result(None)


class Stream(httpcore.AsyncNetworkStream):
    """One connection. A `timeout` is for nothing moving at all; the overall deadline is its caller's."""

    def __init__(self, transport: asyncio.Transport, inbox: _Inbox) -> None:
        self._transport = transport
        self._inbox = inbox
        self._read_since_write = 0
        self.connect_seconds = 0.0
        self.requests = 0

    @property
    def answered_unasked(self) -> bool:
        """Whether nothing was read since the last write.

        An answer found then was left over from the one before, and belongs to no request (RFC 9112
        section 9.2): the server sent more than it announced.
        """
        return self._read_since_write == 0

    @property
    def answered(self) -> bool:
        """Whether a final answer begins to come in, or the far side closed: no body is wanted any more."""
        return self._inbox.answered

    def watch(self, on_arrival: Callable[[], None] | None) -> None:
        """Call this whenever something comes in, and let no write wait longer than for an answer."""
        self._inbox.on_arrival = on_arrival

    async def read(self, max_bytes: int, timeout: float | None = None) -> bytes:  # noqa: ASYNC109 - httpcore's
        """The next bytes, or none at the end. TooLarge: interim answers without end."""
        try:
            data = await self._inbox.take(max_bytes, timeout)
        except OSError as error:
            raise httpcore.ReadError("broken off") from error
        self._read_since_write += len(data)
        exchange = CURRENT.get()
        if exchange is not None and not data:
            exchange.ended = True
        if exchange is not None and not exchange.answered and self._read_since_write > limits.INTERIM_BYTES:
            raise TooLarge("The far server's answer is too large")  # h11 bounds each part, but not how many
        return data

    async def write(self, buffer: bytes, timeout: float | None = None) -> None:  # noqa: ASYNC109 - httpcore's
        """All of the bytes, or httpcore's WriteError where an answer came before they were taken."""
        if not buffer:
            return
        exchange = CURRENT.get()
        if exchange is not None:
            exchange.sent = True
            exchange.stream = self
        self._read_since_write = 0
        if self._inbox.ended:
            raise httpcore.WriteError("broken off")
        self._transport.write(buffer)
        try:
            if not await self._inbox.drained(timeout):
                raise httpcore.WriteError("answered before the end")
        except TimeoutError as error:
            raise httpcore.WriteTimeout("nothing went") from error

    async def aclose(self) -> None:
        """At once: a farewell that the other side need not answer would only keep the socket."""
        self._transport.abort()

    async def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,  # noqa: ASYNC109 - httpcore's interface
    ) -> "Stream":
        """This stream inside TLS. Untrusted where the certificate is not good, else CannotConnect."""
        loop = asyncio.get_running_loop()
        name = (server_hostname or "").removesuffix(".")  # RFC 6066 section 3: no trailing dot
        before = loop.time()
        try:
            transport = await loop.start_tls(self._transport, self._inbox, ssl_context, server_hostname=name)
        except BaseException as error:
            self._transport.abort()
            if isinstance(error, ssl.SSLCertVerificationError):
                raise Untrusted from error
            if isinstance(error, OSError | ValueError):  # SSLError is one; ValueError: no name
                raise CannotConnect("No TLS with the far server") from error
            raise
        if transport is None:
            raise CannotConnect("No TLS with the far server")
        self._inbox.connection_made(transport)  # from now on this is the one to pause
        inside = Stream(transport, self._inbox)
        inside.connect_seconds = self.connect_seconds + loop.time() - before
        return inside

    def get_extra_info(self, info: str) -> Any:
        """`is_readable` (an idle connection is of no use any more) and what asyncio's transports know."""
        if info == "is_readable":
            return self._inbox.ended or self._inbox.held > 0
        return self._transport.get_extra_info("peername" if info == "server_addr" else info)


Connect = Callable[[Address, int], Awaitable[httpcore.AsyncNetworkStream]]
"""An address and a port -> an open stream, or OSError."""


async def open_stream(address: Address, port: int) -> Stream:
    """A TCP connection to a literal address: nothing is looked up. OSError where there is none."""
    loop = asyncio.get_running_loop()
    transport, inbox = await loop.create_connection(_Inbox, str(address), port)
    return Stream(transport, inbox)
