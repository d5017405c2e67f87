"""host and port -> a connection to an address that was checked: the address guard inside httpcore.

httpcore asks its network backend for every connection, with the host of the URL; the names in the Host
field, in SNI and in the certificate check stay those of the URL, whatever address is dialled here.
"""

import asyncio
import errno
from collections.abc import Iterable

import httpcore

from adapters import limits
from adapters.addresses import Address, Guard, Resolver, permitted_addresses
from adapters.errors import CannotConnect, NoRoom, TooSlow
from adapters.http.link.exchange import CURRENT
from adapters.http.link.streams import Connect, Stream

_SocketOption = tuple[int, int, int] | tuple[int, int, bytes | bytearray] | tuple[int, int, None, int]


class Dialer(httpcore.AsyncNetworkBackend):
    """Resolves once, lets `guard` judge every address, and dials the permitted ones in turn."""

    def __init__(self, guard: Guard, resolve: Resolver, connect: Connect) -> None:
        self._guard = guard
        self._resolve = resolve
        self._connect = connect

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,  # noqa: ASYNC109 - httpcore's interface
        local_address: str | None = None,
        socket_options: Iterable[_SocketOption] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """NotAllowed, CannotConnect, NoRoom, or TooSlow where every address but the last kept silent too."""
        exchange = CURRENT.get()
        if exchange is not None:
            exchange.dialled = True
        before = asyncio.get_running_loop().time()
        addresses = await permitted_addresses(host, port, self._guard, self._resolve)
        stream = await self._dial(addresses, port, timeout)
        if isinstance(stream, Stream):
            stream.connect_seconds = asyncio.get_running_loop().time() - before
        return stream

    async def _dial(
        self, addresses: tuple[Address, ...], port: int, last_patience: float | None
    ) -> httpcore.AsyncNetworkStream:
        fault: OSError | None = None
        for number, address in enumerate(addresses, start=1):
            # The last one may take what is left of the overall deadline, or of the caller's patience.
            patience = limits.CONNECT_SECONDS if number < len(addresses) else last_patience
            try:
                async with asyncio.timeout(patience):
                    return await self._connect(address, port)
            except OSError as error:  # TimeoutError is one
                fault = error
        if isinstance(fault, TimeoutError):
            raise TooSlow from fault
        if fault is not None and fault.errno in {errno.EMFILE, errno.ENFILE}:
            raise NoRoom("The gateway has no descriptor left") from fault
        if isinstance(fault, ConnectionRefusedError):
            raise CannotConnect("The far server refuses to connect") from fault
        raise CannotConnect from fault

    async def connect_unix_socket(
        self,
        path: str,
        timeout: float | None = None,  # noqa: ASYNC109 - httpcore's interface
        socket_options: Iterable[_SocketOption] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """Never: no call leads to a path."""
        raise CannotConnect

    async def sleep(self, seconds: float) -> None:
        """Between connection retries, of which there are none."""
        await asyncio.sleep(seconds)
