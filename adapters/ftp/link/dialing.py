"""host and port -> a checked address and a connection to it; an address -> a data connection.

The address guard is adapters.addresses: looked up once, judged, and that very address is dialled. Data
connections go to the address that the control connection went to, whatever the server names.
"""

import asyncio
import errno
from collections.abc import Awaitable, Callable

from adapters import limits
from adapters.addresses import Address, Guard, Resolver, permitted_addresses
from adapters.errors import CannotConnect, HeadraceError, NoRoom, NotAllowed, TooSlow
from adapters.ftp.link.streams import Streams, open_streams

Connect = Callable[[Address, int], Awaitable[Streams]]
"""An address and a port -> an open connection, or OSError."""


async def dialled(
    host: str, port: int, guard: Guard, resolve: Resolver, connect: Connect = open_streams
) -> tuple[Address, Streams]:
    """NotAllowed, CannotConnect, NoRoom, or TooSlow where every address but the last kept silent too.

    The last address may take what is left of the caller's deadline.
    """
    addresses = await permitted_addresses(host, port, guard, resolve)
    fault: OSError | None = None
    for number, address in enumerate(addresses, start=1):
        patience = limits.CONNECT_SECONDS if number < len(addresses) else None
        try:
            async with asyncio.timeout(patience):
                return address, await connect(address, port)
        except OSError as error:  # TimeoutError is one
            fault = error
    raise _no_connection(fault) from fault


async def data_connection(
    address: Address, port: int, guard: Guard, connect: Connect = open_streams
) -> Streams:
    """A data connection to the control connection's address. As above, but CannotConnect says which."""
    if not guard.permits(address):
        raise NotAllowed("Not allowed to go to that address")
    try:
        return await connect(address, port)
    except OSError as error:
        raise _no_connection(error, "No data connection") from error


def _no_connection(
    fault: OSError | None, sentence: str = "Cannot connect to the far server"
) -> HeadraceError:
    if isinstance(fault, TimeoutError):
        return TooSlow()
    if fault is not None and fault.errno in {errno.EMFILE, errno.ENFILE}:
        return NoRoom("The gateway has no descriptor left")
    if isinstance(fault, ConnectionRefusedError) and sentence.startswith("Cannot"):
        return CannotConnect("The far server refuses to connect")
    return CannotConnect(sentence)
