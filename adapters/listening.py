"""a host and a port, or sockets that listen already -> servers that let clients in."""

import asyncio
import socket
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from typing import Any, TypeAlias

from adapters import limits

TurnBack: TypeAlias = Callable[[socket.socket, str], bool]
"""Whether a line that was just accepted, from that address, is not let in; it is the callee's then."""


class _Door(socket.socket):
    """A listening socket that asks about each line before asyncio makes anything of it.

    asyncio hears of a line in one turn of the loop and has a protocol for it two turns later, which is long
    where there is much to do.
    """

    turn_back: TurnBack

    def accept(self) -> tuple[socket.socket, Any]:
        """The next line that is let in. BlockingIOError where nobody waits, or many were turned back."""
        for _ in range(limits.BACKLOG):
            line, address = super().accept()
            if not self.turn_back(line, str(address[0])):
                return line, address
        raise BlockingIOError


async def open_listening(
    make: Callable[[], asyncio.BaseProtocol],
    host: str,
    port: int,
    given: Sequence[socket.socket] = (),
    turn_back: TurnBack = lambda _line, _address: False,
) -> list[asyncio.Server]:
    """Let clients in there, or at the sockets `given` for it, which are taken over. OSError where that is not
    possible, and nothing is left open.
    """
    loop = asyncio.get_running_loop()
    if not given:
        with closing(
            await loop.create_server(make, host, port, reuse_address=True, start_serving=False)
        ) as bound:
            given = [each.dup() for each in bound.sockets]
    servers = []
    with ExitStack() as opened:
        for door in [opened.enter_context(_Door(fileno=each.detach())) for each in given]:
            door.turn_back = turn_back
            servers.append(await loop.create_server(make, sock=door, backlog=limits.BACKLOG))
            opened.callback(servers[-1].close)
        opened.pop_all()
    return servers
