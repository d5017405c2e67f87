"""A checked address -> one TCP connection, both ways, read only when it is asked."""

import asyncio
import socket
from collections.abc import Callable, Sequence
from contextlib import suppress

from adapters import limits
from adapters.addresses import Address
from adapters.errors import BrokenOff
from adapters.listening import open_listening


class _Wire(asyncio.BufferedProtocol):
    """One piece of what comes in, and whether more may go out. The transport is paused but while a piece is
    waited for, so that the far server waits for whoever does not read. `made` is told of its connection.
    """

    def __init__(self, made: "Callable[[Connection], None]" = lambda _: None) -> None:
        self._made = made
        self.piece = b""
        self.ended = False
        self.lost = False
        self.fault: Exception | None = None
        self.full = False
        self.gone = asyncio.get_running_loop().create_future()
        self._space = bytearray()
        self._transport: asyncio.Transport | None = None
        self._waiting: set[asyncio.Future[None]] = set()

    @property
    def transport(self) -> asyncio.Transport:
        """Known from the start of the connection on."""
        assert self._transport is not None
        return self._transport

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        transport.pause_reading()
        transport.set_write_buffer_limits(high=limits.CHUNK_BYTES)
        own: socket.socket = transport.get_extra_info("socket")
        with suppress(OSError):  # some systems refuse where the far end has gone already
            # Left to itself the kernel takes megabytes for a far server that reads nothing.
            own.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.STREAM_SEND_BYTES)
            # One that vanished is noticed, some day.
            own.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
            # Telnet's data mark is urgent (RFC 854); out of its place it would be missing behind its IAC.
            own.setsockopt(socket.SOL_SOCKET, socket.SO_OOBINLINE, 1)
        self._made(Connection(self))

    def get_buffer(self, sizehint: int) -> bytearray:
        self._space = bytearray(
            limits.CHUNK_BYTES
        )  # made for one piece: many lines are idle most of the time
        return self._space

    def buffer_updated(self, nbytes: int) -> None:
        self.piece, self._space = bytes(memoryview(self._space)[:nbytes]), bytearray()
        self.transport.pause_reading()
        self._wake()

    def eof_received(self) -> bool:
        self.ended = True
        self._wake()
        return True  # our side stays open until it is hung up

    def connection_lost(self, exc: Exception | None) -> None:
        self.lost = True
        self.fault = exc
        self.full = False
        self._wake()
        if not self.gone.done():
            self.gone.set_result(None)

    def pause_writing(self) -> None:
        self.full = True

    def resume_writing(self) -> None:
        self.full = False
        self._wake()

    async def change(self) -> None:
        """Wait until something has happened."""
        waiting = asyncio.get_running_loop().create_future()
        self._waiting.add(waiting)
        try:
            await waiting
        finally:
            self._waiting.discard(waiting)

    def _wake(self) -> None:
        for waiting in self._waiting:
            if not waiting.done():
                waiting.set_result(None)


class Connection:
    """An `adapters.streams.Stream` over plain TCP; telnet and TLS are spoken through one."""

    datagrams = False

    def __init__(self, wire: _Wire, origin: str = "") -> None:
        self.origin = origin
        self._wire = wire
        self._closing = False
        self._answers = 0  # bytes of them since there was room last

    @property
    def address(self) -> str:
        """The far end's address, literal; empty where the system does not tell."""
        peer = self._wire.transport.get_extra_info("peername")
        return str(peer[0]) if isinstance(peer, tuple) else ""

    async def receive(self) -> bytes | None:
        """The next bytes, None at the far server's end. One that is cancelled loses nothing."""
        wire = self._wire
        while not wire.piece:
            if wire.lost:
                raise BrokenOff from wire.fault
            if wire.ended:
                return None
            wire.transport.resume_reading()
            await wire.change()
        piece, wire.piece = wire.piece, b""
        return piece

    async def send(self, data: bytes) -> None:
        """All of it is on its way, and there is room for more."""
        self.write(data)
        await self.room()

    def write(self, data: bytes) -> None:
        """Put it on its way, without waiting for room. BrokenOff where the line is gone."""
        if self._closing or self._wire.lost or self._wire.transport.is_closing():
            raise BrokenOff from self._wire.fault
        if data:
            self._wire.transport.write(data)

    async def room(self) -> None:
        """Wait until the far server has taken most of what was written. BrokenOff where the line is gone."""
        while self._wire.full:
            await self._wire.change()
        if self._wire.lost:
            raise BrokenOff from self._wire.fault

    def answer(self, data: bytes) -> None:
        """As `write`, for what the far server itself has caused; a line that is gone is told elsewhere."""
        self._answers += len(data)
        with suppress(BrokenOff):
            self.write(data)

    async def answered(self) -> None:
        """Wait for room where many answers were written: a far server that does not read them is not read.

        Not where few were: one that reads nothing before it is read would then wait for ever.
        """
        if self._answers > limits.CHUNK_BYTES:
            with suppress(BrokenOff):  # what came before the line broke is still to be read
                await self.room()
            self._answers = 0

    async def aclose(self) -> None:
        """End our side, and hang up when the far server has ended its own: it has read all that was sent.

        What it still says is dropped: hanging up with that unread would reset the connection, and take away
        what the far server has not read yet (RFC 9112 section 9.6 says the same of HTTP).
        """
        wire = self._wire
        self._closing = True
        try:
            with suppress(OSError, BrokenOff):  # TimeoutError is one
                async with asyncio.timeout(limits.STREAM_CLOSE_SECONDS):
                    if not wire.lost:
                        wire.transport.write_eof()
                    while await self.receive() is not None:
                        pass
                    wire.transport.close()
                    await wire.gone
        finally:
            self.abort()

    def abort(self) -> None:
        """At once; what was not sent is lost."""
        self._wire.transport.abort()


async def open_connection(address: Address, port: int) -> Connection:
    """A TCP connection to a literal address: nothing is looked up. OSError where there is none."""
    loop = asyncio.get_running_loop()
    _, wire = await loop.create_connection(_Wire, str(address), port)
    return Connection(wire)


async def accept_connections(
    host: str, port: int, made: Callable[[Connection], None], given: Sequence[socket.socket] = ()
) -> list[asyncio.Server]:
    """Connections that others make to an address here, or at sockets that listen there already, each given to
    `made`. OSError where that cannot be.
    """
    return await open_listening(lambda: _Wire(made), host, port, given)
