"""reply lines -> a client's socket, no faster than it reads them.

Who has set neither pace, gap nor flow is written to in slices, as quickly as the line goes.
"""

import asyncio
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from adapters import limits
from gateway.service.clients.metering import Meter, Patience, cut_off
from gateway.service.clients.turns import Turn
from gateway.wire.lines import LineReader
from gateway.wire.replies import Lines
from gateway.wire.settings import Settings

_SLICE: Final = 8_192  # bytes of a reply handed to the socket at a time


class Sender:
    """The way out to one client. One task at a time sends; the others only tell what has happened.

    `heard_at`: when the client was last heard; `moved` is told how many bytes go out. `reader` is its
    session's, and changes with that.
    """

    def __init__(
        self,
        house: Patience,
        reader: LineReader,
        transport: asyncio.Transport,
        heard_at: Callable[[], float],
        moved: Callable[[int], None] = lambda _: None,
    ) -> None:
        self._house = house
        self._moved = moved
        self.reader = reader
        self._transport = transport
        self._heard_at = heard_at
        self._meter: Meter | None = None
        self._writable = asyncio.Event()
        self._writable.set()
        self._abandoned = False
        self._ended = False
        self._sent = 0
        self._waited = 0.0
        self._judged = False  # whether it reads quickly
        self._slice = _SLICE
        transport.set_write_buffer_limits(high=limits.WRITE_BUFFER_BYTES)

    @property
    def open(self) -> bool:
        """Whether there is still a line to write to: neither gone nor ended on our side."""
        return not (self._ended or self._transport.is_closing())

    @property
    def writable(self) -> bool:
        """Whether the client has taken most of what was written."""
        return self._writable.is_set()

    def pause(self) -> None:
        """The client reads more slowly than we write."""
        self._writable.clear()
        if self._meter is not None:
            self._meter.block()

    def resume(self) -> None:
        """The client has read."""
        self._writable.set()
        if self._meter is not None:
            self._meter.unblock()

    def hold(self, held: bool) -> None:
        """The client wants to be sent nothing for now, or goes on."""
        if self._meter is not None:
            self._meter.hold(held)

    def abandon(self) -> None:
        """CAN came: what is being sent stops at a line end."""
        self._abandoned = True
        if self._meter is not None:
            self._meter.abandon()

    def end(self) -> None:
        """Nothing more is to be sent, because our side is ended or the line is gone."""
        self._ended = True
        self._writable.set()
        if self._meter is not None:
            self._meter.look()

    async def send(self, lines: Lines, whole: bool = True) -> None:
        """Write as the client's settings say; CAN stops at a line end, who reads nothing is cut off.

        `whole`: each item is a line, which a gap follows; what is echoed as it is typed is none.
        """
        if self.reader.settings.metered:
            await self._metered(self.reader.settings).send(lines, self.reader.held, whole)
            return
        if self._meter is not None:
            self._meter = None
            self._transport.set_write_buffer_limits(high=limits.WRITE_BUFFER_BYTES)
            set_send_buffer(self._transport, limits.SOCKET_SEND_BYTES)
            set_unsent(self._transport, 0)
        self._abandoned = False
        part: list[bytes] = []
        size, turn = 0, Turn()
        for line in lines:
            part.append(line)
            size += len(line)
            if size >= self._slice:
                self._write(part)
                part, size = [], 0
                await self._drained()
                await turn.over()
                if self._abandoned or not self.open:
                    return
        self._write(part)
        if not self._writable.is_set():
            await self._drained()

    def _metered(self, settings: Settings) -> Meter:
        """What sends by these settings. It wants nothing to wait in the buffers, which the kernel's has room
        for that many small pieces may be on a long way at one time.
        """
        if self._meter is None or not self._meter.keeps(settings):
            self._sent, self._waited, self._judged, self._slice = 0, 0.0, False, _SLICE
            set_send_buffer(self._transport, limits.FAST_BUFFER_BYTES)
            set_unsent(self._transport, limits.METERED_BYTES)
            begins = 0.0 if self._meter is None else self._meter.next_at  # of other settings: a gap is kept
            self._meter = Meter(
                self._house, self._transport, settings, self._heard_at, begins=begins, moved=self._moved
            )
            self._transport.set_write_buffer_limits(high=0)
        return self._meter

    def _write(self, lines: list[bytes]) -> None:
        if self.open:
            data = b"".join(lines)
            self._sent += len(data)
            self._moved(len(data))
            self._transport.write(data)

    async def _drained(self) -> None:
        if self._writable.is_set():
            return
        began = time.perf_counter()
        try:
            async with asyncio.timeout(self._house.stall_seconds()):
                await self._writable.wait()
        except TimeoutError:
            cut_off(self._transport)
        self._waited += time.perf_counter() - began
        if self._sent >= limits.FAST_BYTES and not self._judged:
            self._judged = True
            if self._waited * limits.FAST_BYTES_PER_SECOND < self._sent:
                self._slice = limits.CHUNK_BYTES
                quicken(self._transport)


def quicken(transport: asyncio.Transport) -> None:
    """A client that reads quickly gets buffers to match; small ones would make it wait for each refill."""
    transport.set_write_buffer_limits(high=limits.FAST_BUFFER_BYTES)
    set_send_buffer(transport, limits.FAST_BUFFER_BYTES)


def set_send_buffer(transport: asyncio.Transport, size: int) -> None:
    """How many bytes the kernel takes from us before the client has them."""
    _set_option(transport, socket.SOL_SOCKET, socket.SO_SNDBUF, size)


def set_unsent(transport: asyncio.Transport, size: int) -> None:
    """How many bytes the kernel takes from us before it has sent them: those still come after a 13h.

    0 is as many as the system's setting says.
    """
    _set_option(transport, socket.IPPROTO_TCP, socket.TCP_NOTSENT_LOWAT, size)


def _set_option(transport: asyncio.Transport, level: int, option: int, value: int) -> None:
    connection = transport.get_extra_info("socket")
    if connection is not None:
        with suppress(OSError):  # it is only slower, or has more on its way
            connection.setsockopt(level, option, value)
