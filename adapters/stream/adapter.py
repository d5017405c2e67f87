"""Calling -> an open line: tcp, tls, telnet and udp behind the port adapters.streams."""

import asyncio
import ssl

from adapters import limits
from adapters.addresses import Resolver, guard_for
from adapters.dialing import dialled
from adapters.errors import NotPossible, TooSlow, happened_at
from adapters.port import Call, Fetched
from adapters.resolver import SystemResolver
from adapters.stream.connection import open_connection
from adapters.stream.datagrams import open_datagrams
from adapters.stream.locations import Server, located
from adapters.stream.secured import secured
from adapters.stream.terminal import TelnetLine
from adapters.streams import Calling, Stream
from adapters.trust import TrustKey, trust_context, trust_key


class LineAdapter:
    """An `adapters.streams.StreamAdapter`, and an `adapters.port.Adapter` that has no documents.

    `resolve` is the outside world, for tests to replace.
    """

    def __init__(self, resolve: Resolver | None = None) -> None:
        self._resolve = resolve or SystemResolver()
        self._contexts: dict[TrustKey | None, ssl.SSLContext] = {}

    async def open(self, calling: Calling, seconds: float) -> Stream:
        """WrongWords for a URL that leads to no stream; else as the port says, and as adapters.dialing does.

        Nothing goes over the line before something is sent: UDP finds out only then that nobody is there.
        """
        server = located(calling.url)
        with happened_at(str(server)):
            try:
                async with asyncio.timeout(seconds):
                    return await self._open(server, calling)
            except TimeoutError as error:
                raise TooSlow from error

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """Never: a stream has no documents."""
        raise NotPossible("A stream; TALK opens it")

    async def aclose(self) -> None:
        """Streams that are open belong to those who opened them."""
        self._contexts.clear()

    async def _open(self, server: Server, calling: Calling) -> Stream:
        guard = guard_for(calling.reach, *server.origin)
        if server.scheme == "udp":
            _, datagrams = await dialled(server.host, server.port, guard, self._resolve, open_datagrams)
            datagrams.origin = str(server)
            return datagrams
        context = self._context(calling.ca) if server.scheme == "tls" else None  # before anybody is called
        _, line = await dialled(server.host, server.port, guard, self._resolve, open_connection)
        line.origin = str(server)
        if context is not None:
            return await secured(line, context, server.host)
        return TelnetLine(line, calling.terminal) if server.scheme == "telnet" else line

    def _context(self, ca: str | None) -> ssl.SSLContext:
        key = trust_key(ca)
        context = self._contexts.pop(key, None)
        if context is None:
            context = trust_context(ca)
            context.options |= ssl.OP_NO_RENEGOTIATION  # so that nothing is read before more can be sent
        self._contexts[key] = context  # the newest last
        while len(self._contexts) > limits.POOLS:
            del self._contexts[next(iter(self._contexts))]
        return context
