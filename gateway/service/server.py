"""Catalogue -> listeners: opens them, counts clients, reloads, and stops without cutting a reply short."""

import asyncio
import logging
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from adapters import limits
from gateway.catalogue.model import Catalogue, Listener
from gateway.service.connection import Connection, Fulfiller
from gateway.service.descriptors import Complaints, make_room
from gateway.session.conversation import Session
from gateway.session.state import World

_log = logging.getLogger(__name__)
_SWEEP: Final = 1.0  # seconds between looks at idle clients


@dataclass(frozen=True, slots=True)
class Bound:
    """A listener that is open: where it really listens."""

    listener: Listener
    host: str
    port: int

    @property
    def announcement(self) -> str:
        """The line that says that it is ready."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"headrace: listening on {host}:{self.port} ({self.listener.profile.lower()})"


class Server:
    """All listeners of one gateway, and the clients on them."""

    def __init__(
        self, catalogue: Catalogue, make_answers: Callable[[Callable[[], Catalogue]], Fulfiller]
    ) -> None:
        self._catalogue = catalogue
        self._answers = make_answers(lambda: self._catalogue)
        self._world = World(lambda: self._catalogue, lambda: datetime.fromtimestamp(time.time(), UTC))
        self._connections: set[Connection] = set()
        self._turned_away: set[Connection] = set()
        self._room = 0
        self._reloading = asyncio.Lock()
        self._open: dict[Listener, asyncio.Server] = {}
        self._sweeper: asyncio.Task[None] | None = None
        self.stopping = False

    @property
    def clients(self) -> int:
        """How many clients are connected."""
        return len(self._connections)

    @property
    def leaving(self) -> int:
        """How many clients were turned away and have not hung up yet."""
        return len(self._turned_away)

    # What connections ask

    def admit(self, connection: Connection) -> bool:
        """Whether there is room for one more client."""
        if self.stopping or len(self._connections) >= self._room:
            self._turned_away.add(connection)
            return False
        self._connections.add(connection)
        return True

    def may_linger(self) -> bool:
        """Whether a client that was turned away may take its time to hang up."""
        return len(self._turned_away) <= limits.TURNED_AWAY

    def dismiss(self, connection: Connection) -> None:
        """A client is gone."""
        self._connections.discard(connection)
        self._turned_away.discard(connection)

    def wait_seconds(self) -> float:
        """Within how long a request is answered."""
        return self._catalogue.gateway.wait

    def stall_seconds(self) -> float:
        """How long a client may read nothing of a reply."""
        return self._catalogue.gateway.stall

    # Life

    async def start(self) -> list[Bound]:
        """Open every listener, or none: OSError says which failed."""
        asyncio.get_running_loop().set_exception_handler(Complaints())
        self._room = make_room(self._catalogue.gateway.clients)
        try:
            bound = [await self._listen(each) for each in self._catalogue.listeners]
        except OSError:
            await self._close_listeners(list(self._open))
            raise
        self._sweeper = asyncio.get_running_loop().create_task(self._sweep())
        return bound

    async def reload(self, catalogue: Catalogue) -> list[Bound]:
        """Take a new catalogue: the next request of every client sees it. Returns newly opened listeners.

        A listener that cannot be opened is logged and left out; clients of a closed one stay connected.
        """
        async with self._reloading:
            return await self._reload(catalogue)

    async def _reload(self, catalogue: Catalogue) -> list[Bound]:
        if catalogue.gateway.state != self._catalogue.gateway.state:
            _log.warning("the state folder changes with the next start only")
        self._catalogue = catalogue
        self._room = make_room(catalogue.gateway.clients)
        await self._close_listeners([each for each in self._open if each not in catalogue.listeners])
        bound = []
        for listener in catalogue.listeners:
            if listener not in self._open:
                try:
                    bound.append(await self._listen(listener))
                except OSError as error:
                    _log.error("cannot listen on %s:%s: %s", listener.host, listener.port, error.strerror)
        return bound

    async def stop(self) -> None:
        """Finish replies in flight, answer new work with 421, close."""
        self.stopping = True
        if self._sweeper is not None:
            self._sweeper.cancel()
        await self._close_listeners(list(self._open))
        for connection in list(self._connections):
            connection.turn_away("The gateway is going down")
        busy = [asyncio.ensure_future(each.gone()) for each in self._connections]
        if busy:
            await asyncio.wait(busy, timeout=self.wait_seconds() + limits.STOP_MARGIN_SECONDS)
        for connection in (*self._connections, *self._turned_away):
            connection.abort()
        if busy:
            await asyncio.wait(busy, timeout=limits.STOP_MARGIN_SECONDS)

    async def _listen(self, listener: Listener) -> Bound:
        loop = asyncio.get_running_loop()
        profile = listener.profile

        def connection() -> Connection:
            known = profile if profile in self._catalogue.profiles else "PLAIN"
            return Connection(self, Session(self._world, known), self._answers, listener.greeting)

        server = await loop.create_server(
            connection, listener.host, listener.port, backlog=limits.BACKLOG, reuse_address=True
        )
        for each in server.sockets:
            with suppress(OSError):  # a smaller buffer is only a saving
                each.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.SOCKET_SEND_BYTES)
        self._open[listener] = server
        host, port = server.sockets[0].getsockname()[:2]
        return Bound(listener, host, port)

    async def _close_listeners(self, listeners: list[Listener]) -> None:
        for listener in listeners:
            self._open.pop(listener).close()

    async def _sweep(self) -> None:
        """Tell clients that have said nothing for long enough that their connection closes."""
        loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(_SWEEP)
            latest = loop.time() - self._catalogue.gateway.idle
            for connection in list(self._connections):
                if connection.heard_at < latest:
                    connection.turn_away("Nothing came for too long")
