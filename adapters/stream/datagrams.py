"""A checked address -> messages to and from one UDP port of it (RFC 768).

What is not received stays in the kernel, up to limits.DATAGRAMS_BYTES as it counts them; what comes on top
of that is lost, the newest first, as UDP has it: what a far server answered before a flood is still there.
"""

import asyncio
import errno
import socket
from collections.abc import Callable

from adapters import limits
from adapters.addresses import Address
from adapters.errors import BrokenOff, CannotConnect, HeadraceError, TooLarge


class Datagrams:
    """An `adapters.streams.Stream` of messages. The far server never ends its side: UDP has no end."""

    datagrams = True

    def __init__(self, made: socket.socket, origin: str = "") -> None:
        self.origin = origin
        self._socket = made
        self._heard = False
        self._waiting: set[asyncio.Future[None]] = set()

    async def receive(self) -> bytes:
        """The next message, which may be empty. One that is cancelled loses nothing."""
        loop = asyncio.get_running_loop()
        while True:
            try:
                data = self._socket.recv(limits.CHUNK_BYTES)  # longer than any message
            except BlockingIOError:
                await self._ready(loop.add_reader, loop.remove_reader)
            except OSError as error:
                raise self._fault(error) from error
            else:
                self._heard = True
                return data

    async def send(self, data: bytes) -> None:
        """One message, whole. TooLarge for one that no datagram holds."""
        if len(data) > limits.DATAGRAM_BYTES:
            raise TooLarge("Too long for one datagram")
        loop = asyncio.get_running_loop()
        while True:
            try:
                self._socket.send(data)
            except BlockingIOError:
                await self._ready(loop.add_writer, loop.remove_writer)
            except OSError as error:
                raise self._fault(error) from error
            else:
                return

    async def aclose(self) -> None:
        """What was sent has gone already."""
        self.abort()

    def abort(self) -> None:
        """Hang up; whoever waits for a message is told BrokenOff."""
        for waiting in self._waiting:
            if not waiting.done():
                waiting.set_exception(BrokenOff())
        self._forget()
        self._socket.close()

    def _forget(self) -> None:
        if self._socket.fileno() >= 0:
            loop = asyncio.get_running_loop()
            loop.remove_reader(self._socket)
            loop.remove_writer(self._socket)

    async def _ready(self, watch: Callable[..., object], forget: Callable[[socket.socket], object]) -> None:
        waiting = asyncio.get_running_loop().create_future()
        self._waiting.add(waiting)
        watch(self._socket, _settle, waiting)
        try:
            await waiting
        finally:
            self._waiting.discard(waiting)
            if self._socket.fileno() >= 0:
                forget(self._socket)

    def _fault(self, error: OSError) -> HeadraceError:
        """An ICMP message that came back for an earlier one, or what this system says of this one."""
        if error.errno == errno.EMSGSIZE:
            return TooLarge("Too long for one datagram")
        if self._heard or self._socket.fileno() < 0:
            return BrokenOff()
        if isinstance(error, ConnectionRefusedError):
            return CannotConnect("The far server refuses to connect")
        return CannotConnect()


def _settle(waiting: asyncio.Future[None]) -> None:
    if not waiting.done():
        waiting.set_result(None)


async def open_datagrams(address: Address, port: int) -> Datagrams:
    """A UDP socket that is heard by, and hears, that address and port alone. OSError where there is none."""
    made = socket.socket(socket.AF_INET if address.version == 4 else socket.AF_INET6, socket.SOCK_DGRAM)
    try:
        made.setblocking(False)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, limits.DATAGRAMS_BYTES // 2)  # Linux doubles it
        made.connect((str(address), port))
    except BaseException:
        made.close()
        raise
    return Datagrams(made)
