"""Routes -> a far server on loopback, HTTP/1.1 with or without TLS, on a thread of its own."""

import asyncio
import socket
import ssl
import struct
import threading
from collections.abc import Callable, Coroutine
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any, Final

from adapters import limits
from gateway.testing.background import Background
from gateway.testing.upstream.answers import Answer, Route, Then
from gateway.testing.upstream.certificates import tls
from gateway.testing.upstream.requests import NotHttp, Request, read_request

_LOOPBACK: Final = "127.0.0.1"
_UNTOLD: Final = 404


class Upstream:
    """One server. `on` tells what a path is answered; anything else is 404. Every request is kept.

    `url` is its origin, without a slash at the end; `ca` the file of its authority, None without TLS.
    """

    def __init__(self, context: ssl.SSLContext | None = None, ca: Path | None = None) -> None:
        self.ca = ca
        self.connections = 0
        self._context = context
        self._routes: dict[str, Route] = {}
        self._requests: list[Request] = []
        self._news = threading.Condition()
        self._open: dict[asyncio.Task[None], asyncio.StreamWriter] = {}
        self._server: asyncio.Server | None = None
        self._socket = _at(0)
        self.port: int = self._socket.getsockname()[1]
        self._loop = Background("headrace-upstream")
        self._do(self._listen())

    @property
    def url(self) -> str:
        """Its origin."""
        return f"http{'s' if self._context is not None else ''}://{_LOOPBACK}:{self.port}"

    # What it says

    def on(self, path: str) -> Route:
        """What that path is answered, from now on; an earlier answer is forgotten. Queries do not count."""
        route = self._routes[path] = Route(path)
        return route

    def refuse(self) -> None:
        """Refuse every connection, and cut those that are open; the port stays its own."""
        self._do(self._refuse())

    def accept(self) -> None:
        """Take connections again."""
        if self._server is None:
            self._do(self._listen())

    # What it was asked

    @property
    def requests(self) -> tuple[Request, ...]:
        """All so far, in their order."""
        with self._news:
            return tuple(self._requests)

    def count(self, path: str | None = None) -> int:
        """How many requests came, for one path or for all."""
        return sum(path in (None, each.path) for each in self.requests)

    def wait_for(self, count: int, timeout: float = limits.TESTING_REPLY_SECONDS) -> tuple[Request, ...]:
        """All requests, once there are so many. AssertionError where they do not come in time."""
        with self._news:
            if not self._news.wait_for(lambda: len(self._requests) >= count, timeout):
                raise AssertionError(f"{len(self._requests)} of {count} requests came within {timeout:g} s")
            return tuple(self._requests)

    def stop(self) -> None:
        """Cut what is open and end; again has no effect."""
        with ExitStack() as ending:
            ending.callback(self._let_go)
            ending.callback(self._loop.stop)
            if self._server is not None or self._open:
                ending.callback(self._do, self._refuse())

    def _let_go(self) -> None:
        self._socket.close()

    # On its own thread

    def _do(self, coroutine: Coroutine[Any, Any, None]) -> None:
        self._loop.run(coroutine, limits.TESTING_STOP_SECONDS)

    async def _listen(self) -> None:
        self._server = await asyncio.start_server(
            self._connected, sock=self._socket, ssl=self._context, limit=limits.TESTING_HEAD_BYTES
        )

    async def _refuse(self) -> None:
        """A socket that has the port and does not listen: the kernel refuses for it."""
        if self._server is not None:
            self._server.close()
            self._server = None
            self._socket = _at(self.port)
        while self._open:
            for task, writer in tuple(self._open.items()):
                task.cancel()
                writer.transport.abort()
            await asyncio.wait(self._open)

    def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """What asyncio calls at once, so that no connection is overlooked, whenever it came."""
        if self._server is None:
            writer.transport.abort()
            return
        self.connections += 1
        task = asyncio.get_running_loop().create_task(self._connection(reader, writer))
        self._open[task] = writer
        task.add_done_callback(self._open.pop)

    async def _connection(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            with suppress(OSError, NotHttp):
                while (request := await read_request(reader)) is not None:
                    if await self._answered(request, reader, writer):
                        break
        finally:
            writer.close()

    async def _answered(
        self, request: Request, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> bool:
        """Whether the connection is over."""
        with self._news:
            self._requests.append(request)
            self._news.notify_all()
        route = self._routes.get(request.path)
        answer = None if route is None else route.next_answer()
        if answer is None:
            answer = Route(request.path).status(_UNTOLD).next_answer()
            assert answer is not None
        await _send(answer, writer, with_body=request.method != "HEAD")
        if answer.then is Then.RESET:
            _reset(writer)
        elif answer.then is Then.HOLD:
            await reader.read()
        return answer.then is not Then.KEEP


async def _send(answer: Answer, writer: asyncio.StreamWriter, *, with_body: bool) -> None:
    await asyncio.sleep(answer.delay)
    writer.write(answer.head)
    if with_body and answer.drip:
        for byte in answer.body:
            writer.write(bytes((byte,)))
            await writer.drain()
            await asyncio.sleep(answer.drip)
    elif with_body:
        writer.write(answer.body)
    await writer.drain()


def _reset(writer: asyncio.StreamWriter) -> None:
    own = writer.get_extra_info("socket")
    own.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()


def _at(port: int) -> socket.socket:
    """A socket that has a port of loopback, 0 for a free one, and does not listen."""
    # Without its protocol told, asyncio leaves Nagle's algorithm on, and a body comes 40 ms behind its head.
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((_LOOPBACK, port))
    except BaseException:
        made.close()
        raise
    return made


class Upstreams:
    """Starts far servers, any number at once."""

    def __init__(self, scratch: Callable[[], Path]) -> None:
        self._scratch = scratch
        self._running: list[Upstream] = []

    def __call__(self, certificate: str | None = None) -> Upstream:
        """A server with TLS where a `certificate` is named: good, expired, other-host, or stranger."""
        context, ca = (None, None) if certificate is None else tls(certificate, self._scratch())
        made = Upstream(context, ca)
        self._running.append(made)
        return made

    def close(self) -> None:
        """Stop them all."""
        with ExitStack() as ending:
            while self._running:
                ending.callback(self._running.pop().stop)
