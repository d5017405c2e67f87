"""A server on loopback whose every connection is a talk that the test writes, byte by byte if need be."""

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from adapters.files import Target, Upload
from adapters.http.client import Answer, HttpClient, Request
from adapters.port import Reach
from tests.adapters.http.servers import LOOPBACK

SECONDS = 20.0  # far more than anything takes here, as machines may be busy


@dataclass
class Line:
    """One connection, seen from the server. `heads` are the header sections of its requests, `body` the
    body's bytes as they came.
    """

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    number: int
    heads: list[str] = field(default_factory=list)
    body: bytes = b""

    async def head(self) -> str:
        """Read up to the end of a header section."""
        self.heads.append((await self.reader.readuntil(b"\r\n\r\n")).decode("latin-1"))
        return self.heads[-1]

    async def take(self, count: int) -> None:
        """Read so many bytes of the body."""
        self.body += await self.reader.readexactly(count)

    async def rest(self) -> None:
        """Read whatever comes until the other side closes."""
        with suppress(OSError):
            while data := await self.reader.read(65_536):
                self.body += data

    async def say(self, *parts: str | bytes) -> None:
        """Text, whose line ends are CR LF, and bytes."""
        for part in parts:
            self.writer.write(part.replace("\n", "\r\n").encode() if isinstance(part, str) else part)
        await self.writer.drain()


Talk = Callable[[Line], Awaitable[None]]


@dataclass
class TalkServer:
    """`lines` are all connections so far."""

    port: int = 0
    scheme: str = "http"
    lines: list[Line] = field(default_factory=list)
    ended: asyncio.Event = field(default_factory=asyncio.Event)

    def target(self, path: str = "/document", **changes: Any) -> Target:
        """A target there, which is named."""
        root = f"{self.scheme}://{LOOPBACK}:{self.port}"
        fields = {"reach": Reach(named=frozenset({(LOOPBACK, self.port)})), **changes}
        return Target(root + path, root + "/", **fields)

    def heads(self) -> list[str]:
        """All header sections, in the order of the connections."""
        return [head for line in self.lines for head in line.heads]

    def request_lines(self) -> list[str]:
        return [head.partition("\r\n")[0] for head in self.heads()]


def field_of(head: str, name: str) -> str | None:
    """A field's value in a header section."""
    for line in head.split("\r\n")[1:]:
        key, _, value = line.partition(":")
        if key.lower() == name.lower():
            return value.strip()
    return None


@asynccontextmanager
async def talking(talk: Talk, tls: ssl.SSLContext | None = None) -> AsyncIterator[TalkServer]:
    """The server; a connection closes when its talk is over."""
    server = TalkServer(scheme="http" if tls is None else "https")
    tasks: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        line = Line(reader, writer, len(server.lines))
        server.lines.append(line)
        try:
            with suppress(OSError, asyncio.IncompleteReadError):
                await talk(line)
            writer.close()
        except asyncio.CancelledError:
            writer.transport.abort()
        finally:
            tasks.discard(task)
            server.ended.set()

    listener = await asyncio.start_server(serve, LOOPBACK, 0, limit=1 << 20, ssl=tls)
    server.port = listener.sockets[0].getsockname()[1]
    try:
        yield server
    finally:
        listener.close()
        for task in list(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def pieces(*parts: bytes, size: int | None = None, fault: Exception | None = None) -> Upload:
    """An upload of these pieces, which then fails, if it is to."""

    async def chunks() -> AsyncIterator[bytes]:
        for part in parts:
            yield part
        if fault is not None:
            raise fault

    return Upload(chunks, size)


async def collected(client: HttpClient, request: Request, seconds: float = SECONDS) -> tuple[Answer, bytes]:
    """The answer and its whole body."""
    async with client.exchange(request, seconds) as answer:
        return answer, b"".join([chunk async for chunk in answer.chunks])


async def fine(line: Line) -> None:
    """Answers every request with two bytes, and takes bodies of announced length."""
    while True:
        head = await line.head()
        await line.take(int(field_of(head, "content-length") or 0))
        await line.say("HTTP/1.1 200 OK\nContent-Length: 2\n\nok")


def endless(size: int | None) -> Upload:
    """More than any buffer takes."""

    async def chunks() -> AsyncIterator[bytes]:
        while True:
            yield bytes(65_536)

    return Upload(chunks, size)
