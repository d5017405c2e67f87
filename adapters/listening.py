"""a host and a port, or sockets that listen already -> servers that let clients in."""

import asyncio
import socket
from collections.abc import Callable, Sequence

from adapters import limits


async def open_listening(
    make: Callable[[], asyncio.BaseProtocol], host: str, port: int, given: Sequence[socket.socket] = ()
) -> list[asyncio.Server]:
    """Let clients in there, or at the sockets `given` for it. OSError where that is not possible."""
    loop = asyncio.get_running_loop()
    if not given:
        return [await loop.create_server(make, host, port, backlog=limits.BACKLOG, reuse_address=True)]
    return [await loop.create_server(make, sock=each, backlog=limits.BACKLOG) for each in given]
