"""A whole gateway on loopback, and a client that takes its replies apart as the contract says."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from gateway.commands import wiring
from gateway.service.doors import Bound
from gateway.service.server import Server


async def talk(host: str, port: int, data: bytes) -> bytes:
    """Send, close the sending side, and read all there is."""
    reader, writer = await asyncio.open_connection(host, port)
    writer.write(data)
    writer.write_eof()
    answer = await asyncio.wait_for(reader.read(), 10)
    writer.close()
    await writer.wait_closed()
    return answer


def replies(data: bytes, end: bytes = b"\r\n") -> list[tuple[str, list[bytes]]]:
    """Take replies apart as a client does: by the count in columns 5-9 and the width in 11-13."""
    found = []
    while data:
        status, data = data[:16].decode("ascii"), data[16:]
        assert data.startswith(end)
        data = data[len(end) :]
        records, width = [], int(status[10:13])
        for _ in range(int(status[4:9])):
            records.append(data[:width])
            assert data[width:].startswith(end)
            data = data[width + len(end) :]
        found.append((status, records))
    return found


@asynccontextmanager
async def running(catalogue: str, folder: Path) -> AsyncIterator[Bound]:
    """A gateway with real adapters, cache and store for the catalogue's text; its first listener."""
    path = folder / "headrace.toml"
    path.write_text(catalogue, encoding="utf-8")
    checked = wiring.read_catalogue(path)
    parts = wiring.Parts(checked)
    server = Server(checked, parts.answers)
    try:
        bound = (await server.start())[0]
        try:
            yield bound
        finally:
            await server.stop()
    finally:
        await parts.aclose()


async def say(bound: Bound, *requests: str, charset: str = "ascii") -> list[tuple[str, list[str]]]:
    """The replies to `requests`, sent in one go by one client."""
    data = "".join(request + "\r" for request in requests).encode(charset)
    found = replies(await talk(bound.host, bound.port, data))
    return [(status, [record.decode(charset) for record in records]) for status, records in found]
