"""The control connection's address -> a data connection: to nowhere else, whatever the server names."""

from collections.abc import Awaitable, Callable

from adapters.addresses import Address, Guard
from adapters.dialing import no_connection
from adapters.errors import NotAllowed
from adapters.ftp.link.streams import Streams, open_streams

Connect = Callable[[Address, int], Awaitable[Streams]]
"""An address and a port -> an open connection, or OSError."""


async def data_connection(
    address: Address, port: int, guard: Guard, connect: Connect = open_streams
) -> Streams:
    """A data connection. The errors of adapters.dialing, but CannotConnect says which connection it was."""
    if not guard.permits(address):
        raise NotAllowed("Not allowed to go to that address")
    try:
        return await connect(address, port)
    except OSError as error:
        raise no_connection(error, "No data connection") from error
