"""A connection to a gateway, and what has come over it that nothing has taken yet."""

import asyncio
import re
import socket
import struct
from contextlib import suppress
from typing import Final

from adapters import limits

_STATUS: Final = re.compile(rb"[0-9]{3} ([0-9]{5}) [0-9]{3} ")  # CONTRACT section 1


class Line(asyncio.Protocol):
    """What `open_line` opens. All methods that wait end at `deadline`, on the event loop's clock."""

    def __init__(self) -> None:
        self.pending = bytearray()
        self.hung_up = False
        self.owed = 0  # records of the reply whose status line came last
        self._news = asyncio.Event()
        self._transport: asyncio.Transport | None = None
        self._paused = False

    # What asyncio calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """It is open."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        """Bytes came; more than limits.REHEARSAL_PENDING_BYTES are not read before some are taken."""
        self.pending += data
        if len(self.pending) > limits.REHEARSAL_PENDING_BYTES and self._transport is not None:
            self._paused = True
            self._transport.pause_reading()
        self._news.set()

    def eof_received(self) -> bool:
        """The gateway hung up; our side may go on sending."""
        self.hung_up = True
        self._news.set()
        return True

    def connection_lost(self, exc: Exception | None) -> None:
        """The line is gone."""
        self.hung_up = True
        self._transport = None
        self._news.set()

    # What a script does

    async def send(self, data: bytes) -> bool:
        """Send; False where the line is gone."""
        if self._transport is None or self._transport.is_closing():
            return False
        self.owed = 0  # what is asked now counts anew
        self._transport.write(data)
        await asyncio.sleep(0)
        return True

    def finish(self) -> None:
        """Send no more."""
        if self._transport is not None and not self._transport.is_closing():
            with suppress(OSError):
                self._transport.write_eof()

    def close(self) -> None:
        """Hang up."""
        if self._transport is not None:
            self._transport.close()

    def reset(self) -> None:
        """Cut the line, so that the other side gets a TCP reset."""
        if self._transport is not None:
            own: socket.socket = self._transport.get_extra_info("socket")
            own.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self._transport.abort()

    async def news(self, deadline: float) -> bool:
        """Wait for more; False where nothing came before `deadline`, or can come."""
        if self.hung_up:
            return False
        before = len(self.pending)
        self._news.clear()
        left = deadline - asyncio.get_running_loop().time()
        with suppress(TimeoutError):
            await asyncio.wait_for(self._news.wait(), left)
        return len(self.pending) > before

    async def line(self, end: bytes, deadline: float) -> bytes | None:
        """The next line without its end; None where none came whole."""
        searched = 0
        while (at := self.pending.find(end, searched)) < 0:
            searched = max(0, len(self.pending) - len(end) + 1)
            if not await self.news(deadline):
                return None
        line = self.take(at + len(end))[:at]
        status = _STATUS.match(line)
        if self.owed:
            self.owed -= 1
        elif status is not None:
            self.owed = int(status[1])
        return line

    def take(self, count: int) -> bytes:
        """The first bytes of what is pending."""
        taken = bytes(self.pending[:count])
        del self.pending[:count]
        if self._paused and self._transport is not None and not self._transport.is_closing():
            self._paused = False
            self._transport.resume_reading()
        return taken


async def open_line(host: str, port: int, seconds: float) -> Line:
    """A line to that gateway; OSError or TimeoutError where there is none.

    Of a name with several addresses each is dialled. Where nobody answers, the error is that of the last:
    asyncio's own for all of them, in Python 3.11, has no number, and is no sentence.
    """
    async with asyncio.timeout(seconds):
        found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
        *others, last = [str(address[0]) for *_, address in found]
        for each in others:
            with suppress(OSError):
                return await _dialled(each, port)
        return await _dialled(last, port)


async def _dialled(address: str, port: int) -> Line:
    _, line = await asyncio.get_running_loop().create_connection(Line, address, port)
    return line
