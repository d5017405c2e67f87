"""Far servers for streams, on loopback, on a thread of their own."""

import asyncio
import socket
import struct
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager, suppress

from gateway.testing.background import Background

Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@contextmanager
def far_end(serve: Serve) -> Iterator[int]:
    """The port of a TCP server that serves every caller so, until the end."""
    loop = Background("far-end")
    servers: list[asyncio.Server] = []
    writers: list[asyncio.StreamWriter] = []

    async def each(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)
        with suppress(OSError, asyncio.IncompleteReadError):
            await serve(reader, writer)
        writer.close()

    async def start() -> int:
        servers.append(await asyncio.start_server(each, "127.0.0.1", 0))
        port: int = servers[0].sockets[0].getsockname()[1]
        return port

    async def stop() -> None:
        servers[0].close()
        for writer in writers:
            writer.transport.abort()
        await asyncio.sleep(0)

    try:
        yield loop.run(start(), 5)
    finally:
        loop.run(stop(), 5)
        loop.stop()


def cut(writer: asyncio.StreamWriter) -> None:
    """Reset the connection (RFC 9293 section 3.10.7), as a line that breaks does."""
    own = writer.get_extra_info("socket")
    own.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()


async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Everything comes back as it was."""
    while data := await reader.read(65_536):
        writer.write(data)
        await writer.drain()


async def board(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """An invented notice board: a greeting, a prompt, an answer to each line; it hangs up after `bye`."""
    writer.write("Grüß Gott\nname: ".encode())
    while line := (await reader.readline()).strip():
        if line == b"bye":
            writer.write(b"so long\n")
            break
        writer.write(b"you are " + line + b"\nnext: ")
