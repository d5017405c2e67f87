"""A line to a gateway -> STOREs, APPENDs, COPYs and questions one after another, and what came of each."""

import asyncio
import random
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress

from tests.survival.told import Document, Told, Try

_SIZES = (0, 1, 300, 5_000, 70_000, 250_000)  # bytes; one chunk and several


class Line:
    """One connection."""

    def __init__(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, traffic: Counter[str]
    ) -> None:
        self._reader, self._writer, self._traffic = reader, writer, traffic

    async def say(self, request: str) -> bytes:
        """A request's whole reply. EOFError or OSError where the line breaks."""
        self._traffic["requests"] += 1
        self._writer.write(f"{request}\r".encode())
        return await self.reply()

    async def reply(self) -> bytes:
        """The next whole reply: 18 characters of status line and line end, then the records it announces."""
        status = await self._reader.readexactly(18)
        records = await self._reader.readexactly(int(status[4:9]) * (int(status[10:13]) + 2))
        self._traffic["replies"] += 1
        return status + records

    async def give(self, data: bytes) -> bytes:
        """After a 350: the data, and the reply."""
        self._writer.write(data)
        await self._writer.drain()
        return await self.reply()

    def close(self) -> None:
        self._writer.close()


async def until_cut(work: Callable[[Line], Awaitable[None]], port: int, traffic: Counter[str]) -> None:
    """Do the work until the gateway is gone; `traffic` counts requests and replies."""
    with suppress(OSError, EOFError):
        line = Line(*await asyncio.open_connection("127.0.0.1", port), traffic)
        try:
            await work(line)
        finally:
            line.close()


def _noted(one: Try, reply: bytes) -> None:
    one.reply = reply
    if reply.startswith(b"250"):
        one.told = Told.DONE
    elif reply.startswith(b"150"):
        one.told = Told.BEGUN
    elif b"Kept." in reply:
        one.told = Told.KEPT
    else:
        one.told = Told.DOUBTFUL if reply.startswith(b"558") else Told.REFUSED


async def store(line: Line, document: Document, chance: random.Random) -> None:
    """Without end: the same document, each time another."""
    while True:
        head = f"{document.ref} {chance.random()}\n".encode()
        size = chance.choice(_SIZES)
        if chance.random() < 0.5:
            body = head + chance.randbytes(size)
            request, data = f"STORE {document.ref} {len(body)}", body
        else:
            body = head + b"a line of text, as a small machine sends it\n" * (size // 44)
            lines = b"".join(b">%b\r" % each for each in body.splitlines())
            request, data = f"STORE {document.ref}", lines + b".\r"
        await _given(line, document, request, body, data)


async def append(line: Line, document: Document, chance: random.Random) -> None:
    """Without end: one line more."""
    while True:
        body = f"{chance.random()} {'x' * chance.choice(_SIZES[:4])}\n".encode()
        await _given(line, document, f"APPEND {document.ref}", body, b">%b\r.\r" % body[:-1])


async def _given(line: Line, document: Document, request: str, body: bytes, data: bytes) -> None:
    reply = await line.say(request)
    if reply.startswith(b"350"):
        one = document.begin(body)
        _noted(one, await line.give(data))


async def copy(line: Line, document: Document, chance: random.Random, sources: Mapping[str, bytes]) -> None:
    """Without end: one or another document in the place of this one."""
    while True:
        source = chance.choice(sorted(sources))
        one = document.begin(sources[source])
        _noted(one, await line.say(f"COPY {source} {document.ref}"))


async def ask(line: Line, requests: list[str], said: list[tuple[str, bytes]]) -> None:
    """Each question once, and what was answered whole."""
    for request in requests:
        reply = await line.say(request)
        said.append((request, reply))
