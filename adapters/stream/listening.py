"""an address to listen at -> a Stream for each caller."""

import asyncio
import socket
from collections.abc import Callable, Sequence

from adapters.addresses import plain_address
from adapters.stream.connection import Connection, accept_connections
from adapters.stream.terminal import TelnetLine
from adapters.streams import Stream, Terminal


async def listen(
    host: str,
    port: int,
    called: Callable[[Stream, str], None],
    telnet: Callable[[], bool],
    given: Sequence[socket.socket] = (),
) -> list[asyncio.Server]:
    """Take callers until the servers are closed. OSError where that is not possible.

    `given`: sockets that listen there already.

    `called` is given each caller's stream, whose `origin` is the caller's, and address; whoever is given it
    closes it. `telnet`, asked for each: whether the caller speaks it (RFC 854). Nothing is asked of it then:
    it lays out and echoes what is typed by itself.
    """

    def made(line: Connection) -> None:
        found, negotiates = plain_address(line.address), telnet()
        address = "" if found is None else str(found)
        line.origin = _origin("telnet" if negotiates else "tcp", address)
        called(TelnetLine(line, Terminal()) if negotiates else line, address)

    return await accept_connections(host, port, made, given)


def _origin(scheme: str, address: str) -> str:
    return f"{scheme}://[{address}]" if ":" in address else f"{scheme}://{address}"
