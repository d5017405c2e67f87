"""host and port -> a connection to an address that was checked, or one error.

The address guard is adapters.addresses: the host is looked up once, every address is judged, and the very
ones that were judged are dialled in turn. What a connection is, each protocol family says itself.
"""

import asyncio
import errno
from collections.abc import Awaitable, Callable
from typing import TypeVar

from adapters import limits
from adapters.addresses import Address, Guard, Resolver, permitted_addresses
from adapters.errors import CannotConnect, HeadraceError, NoRoom, TooSlow

Connection = TypeVar("Connection")


async def dialled(
    host: str,
    port: int,
    guard: Guard,
    resolve: Resolver,
    connect: Callable[[Address, int], Awaitable[Connection]],
    *,
    last_patience: float | None = None,
) -> tuple[Address, Connection]:
    """NotAllowed, CannotConnect, NoRoom, or TooSlow where every address but the last kept silent too.

    `connect` raises OSError where there is no connection. The last address may take `last_patience`, or
    what is left of the caller's deadline.
    """
    addresses = await permitted_addresses(host, port, guard, resolve)
    fault: OSError | None = None
    for number, address in enumerate(addresses, start=1):
        patience = limits.CONNECT_SECONDS if number < len(addresses) else last_patience
        try:
            async with asyncio.timeout(patience):
                return address, await connect(address, port)
        except OSError as error:  # TimeoutError is one
            fault = error
    raise no_connection(fault) from fault


def no_connection(fault: OSError | None, sentence: str = "Cannot connect to the far server") -> HeadraceError:
    """The house's error for what a socket says of a connection that was not made."""
    if isinstance(fault, TimeoutError):
        return TooSlow()
    if fault is not None and fault.errno in {errno.EMFILE, errno.ENFILE}:
        return NoRoom("The gateway has no descriptor left")
    if isinstance(fault, ConnectionRefusedError) and sentence.startswith("Cannot"):
        return CannotConnect("The far server refuses to connect")
    return CannotConnect(sentence)
