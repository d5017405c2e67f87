"""Servers on loopback that say exactly what a test wants, right or wrong, and note what they were asked."""

import asyncio
import socket
import ssl
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field, replace
from typing import Any

from adapters.port import Call, Reach

LOOPBACK = "127.0.0.1"


@dataclass(frozen=True)
class Say:
    """Bytes to answer with, after `delay` seconds, and what to do then.

    `drip` sends them one by one, that many seconds apart; `early`, for a path: before the request's body is
    there.
    """

    data: bytes
    then: str = "keep"  # or close, reset, stall
    delay: float = 0.0
    drip: float = 0.0
    early: bool = False


def reply(body: bytes = b"", status: str = "200 OK", *fields: str, then: str = "keep") -> Say:
    """A well-formed answer with its Content-Length."""
    head = [f"HTTP/1.1 {status}", *fields, f"Content-Length: {len(body)}"]
    return Say("\r\n".join(head).encode() + b"\r\n\r\n" + body, then)


@dataclass
class RawServer:
    """`answers` are given in the order of the requests, the last one for all that follow.

    `paths` are answers for one path each, whatever the order; `greeting` is said before any request.
    """

    answers: list[Say]
    paths: dict[str, Say] = field(default_factory=dict)
    greeting: bytes = b""
    requests: list[bytes] = field(default_factory=list)
    connections: int = 0
    most_at_once: int = 0
    port: int = 0
    open: int = 0

    @property
    def reach(self) -> Reach:
        """What names this server in a catalogue."""
        return Reach(named=frozenset({(LOOPBACK, self.port)}))

    def call(self, path: str = "/", **changes: Any) -> Call:
        """A call to this server, which is named."""
        return replace(Call(url=f"http://{LOOPBACK}:{self.port}{path}", reach=self.reach), **changes)

    def heads(self) -> list[str]:
        """The request lines."""
        return [request.split(b"\r\n", 1)[0].decode() for request in self.requests]

    def field_of(self, name: str, number: int = -1) -> str | None:
        """A field of a request, by default the last one's."""
        for line in self.requests[number].partition(b"\r\n\r\n")[0].split(b"\r\n")[1:]:
            key, _, value = line.decode("latin-1").partition(":")
            if key.lower() == name.lower():
                return value.strip()
        return None

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection."""
        self.connections += 1
        self.open += 1
        self.most_at_once = max(self.most_at_once, self.open)
        writer.write(self.greeting)
        try:
            with suppress(OSError, asyncio.IncompleteReadError):
                while await self._answer(reader, writer):
                    pass
        finally:
            self.open -= 1
            writer.close()

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        head = await reader.readuntil(b"\r\n\r\n")
        length = 0
        for line in head.split(b"\r\n"):
            if line.lower().startswith(b"content-length:"):
                length = int(line.partition(b":")[2])
        say = self.paths.get(head.split(b" ")[1].decode().partition("?")[0])
        early = say is not None and say.early
        self.requests.append(head if early else head + await reader.readexactly(length))
        if say is None:
            say = self.answers[min(len(self.requests), len(self.answers)) - 1]
        await asyncio.sleep(say.delay)
        if say.drip:
            for byte in say.data:
                writer.write(bytes([byte]))
                await writer.drain()
                await asyncio.sleep(say.drip)
        writer.write(say.data)
        if say.then == "reset":
            await writer.drain()
            reset(writer)
            return False
        await writer.drain()
        if say.then == "stall":
            await reader.read()
        return say.then == "keep"


def reset(writer: asyncio.StreamWriter) -> None:
    """End the connection with a TCP reset instead of a FIN."""
    no_linger = struct.pack("ii", 1, 0)
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, no_linger)
    writer.transport.abort()


@asynccontextmanager
async def raw_server(*answers: Say, tls: ssl.SSLContext | None = None) -> AsyncIterator[RawServer]:
    """A server on a free port of loopback."""
    server = RawServer(list(answers))
    tasks: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            await server.serve(reader, writer)
        except asyncio.CancelledError:
            writer.transport.abort()
        finally:
            tasks.discard(task)

    listener = await asyncio.start_server(serve, LOOPBACK, 0, ssl=tls)
    server.port = listener.sockets[0].getsockname()[1]
    try:
        yield server
    finally:
        listener.close()
        for task in list(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def free_port() -> int:
    """A port of loopback where nobody listens."""
    listener = await asyncio.start_server(lambda *_: None, LOOPBACK, 0)
    port: int = listener.sockets[0].getsockname()[1]
    listener.close()
    await listener.wait_closed()
    return port
