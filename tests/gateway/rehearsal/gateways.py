"""Gateways that say what a test wants, and scripts that are run against them."""

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress

from gateway.rehearsal.running import Run, run_script
from gateway.rehearsal.script.reading import read_script

Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


async def rehearsed(text: str, talk: Talk, listeners: int = 1, name: str = "x.rehearsal") -> Run:
    """The script, run against `talk` for each line."""
    tasks: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            with suppress(OSError, asyncio.IncompleteReadError):
                await talk(reader, writer)
        finally:
            writer.close()

    servers = [await asyncio.start_server(serve, "127.0.0.1", 0) for _ in range(listeners)]
    try:
        addresses = [("127.0.0.1", server.sockets[0].getsockname()[1]) for server in servers]
        return await run_script(read_script(text, name), addresses)
    finally:
        for server in servers:
            server.close()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def answering(answers: dict[bytes, bytes]) -> Talk:
    """A gateway that answers lines, ended by CR LF, with these bytes, and others not at all."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while line := await reader.readline():
            writer.write(answers.get(line.strip(), b""))
            if line.strip() == b"BYE":
                return

    return talk
