"""host and port -> a connection to an address that was checked: the address guard inside httpcore.

httpcore asks its network backend for every connection, with the host of the URL; the names in the Host
field, in SNI and in the certificate check stay those of the URL, whatever address is dialled here.
"""

import asyncio
from collections.abc import Iterable

import httpcore

from adapters.addresses import Guard, Resolver
from adapters.dialing import dialled
from adapters.errors import CannotConnect
from adapters.http.link.exchange import CURRENT
from adapters.http.link.streams import Connect, Stream

_SocketOption = tuple[int, int, int] | tuple[int, int, bytes | bytearray] | tuple[int, int, None, int]


class Dialer(httpcore.AsyncNetworkBackend):
    """Dials as adapters.dialing does."""

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
        _, stream = await dialled(
            host, port, self._guard, self._resolve, self._connect, last_patience=timeout
        )
        if isinstance(stream, Stream):
            stream.connect_seconds = asyncio.get_running_loop().time() - before
        return stream

    async def connect_unix_socket(
        self,
        path: str,
        timeout: float | None = None,  # noqa: ASYNC109 - httpcore's interface
        socket_options: Iterable[_SocketOption] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """Never: no call leads to a path."""
        raise CannotConnect
