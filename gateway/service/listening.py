"""listening sockets -> closed, without forgetting who was let in just now."""

import asyncio
from collections.abc import Iterable
from typing import Final

_LETTING_IN: Final = 3  # turns of the loop until who was let in has a transport, and its protocol knows


def descriptors_of(servers: Iterable[asyncio.Server]) -> list[int]:
    """Of all sockets that they listen at."""
    return [each.fileno() for server in servers for each in server.sockets]


async def close_listening(servers: Iterable[asyncio.Server]) -> None:
    """Let nobody else in, and close.

    Who was let in in this turn of the loop gets a transport only while the server is not closed yet: asyncio
    forgets any other, and leaves its line open.
    """
    servers = list(servers)
    loop = asyncio.get_running_loop()
    for each in servers:
        for listening in each.sockets:
            loop.remove_reader(listening.fileno())
    for _ in range(_LETTING_IN if servers else 0):
        await asyncio.sleep(0)
    for each in servers:
        each.close()
