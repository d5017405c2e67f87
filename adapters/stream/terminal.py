"""A connection to a telnet server -> the text in it, both ways; what else is said there is said here."""

import asyncio

from adapters import limits
from adapters.stream.connection import Connection
from adapters.stream.telnet import Telnet
from adapters.streams import Terminal


class TelnetLine:
    """An `adapters.streams.Stream` that speaks telnet through a plain one."""

    datagrams = False

    def __init__(self, line: Connection, terminal: Terminal) -> None:
        self.origin = line.origin
        self._line = line
        self._telnet = Telnet(terminal)
        self._rest = b""  # of what came, beyond the size of one piece
        self._timer: asyncio.TimerHandle | None = None

    async def receive(self) -> bytes | None:
        """The next text, None at the far server's end. One that is cancelled loses nothing."""
        while not self._rest:
            await self._line.answered()
            data = await self._line.receive()
            if data is None:
                return None
            self._rest = self._telnet.receive(data)
            self._line.answer(self._telnet.answers())
        text, self._rest = self._rest[: limits.CHUNK_BYTES], self._rest[limits.CHUNK_BYTES :]
        return text

    async def send(self, data: bytes) -> None:
        """All of it is on its way, and there is room for more."""
        self._stop_timer()
        self._line.write(self._telnet.send(data))
        if self._telnet.owes:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(limits.TELNET_CR_SECONDS, self._settle)
        await self._line.room()

    async def aclose(self) -> None:
        """Hang up as `Connection` does."""
        self._settle()
        await self._line.aclose()

    def abort(self) -> None:
        """At once; what was not sent is lost."""
        self._stop_timer()
        self._line.abort()

    def _settle(self) -> None:
        self._stop_timer()
        self._line.answer(self._telnet.settle())

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
