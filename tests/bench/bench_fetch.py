"""By hand: how much dearer a fetch through the adapter is than a hand-written httpx and json script.

    python tests/bench/bench_fetch.py [rounds]

Both ask the same server, a process of its own on loopback, for the same document over one kept connection,
and parse it with json. They take turns, so that a busy machine slows both; the median of the rounds counts.
"""

import asyncio
import json
import statistics
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from time import perf_counter

import httpx

sys.path.insert(0, str(Path(__file__).parents[2]))  # run as a script, from anywhere

from adapters.http.adapter import HttpAdapter
from adapters.port import Call, Reach

CALLS = 200  # in a row, one round
CROWD = 200  # at once
ROWS = {"few rows": 5, "many rows": 2000}


def document(rows: int) -> bytes:
    """An invented harbour's tides."""
    return json.dumps(
        [{"when": f"2026-11-{day % 28 + 1:02}T06:12", "level": day / 10} for day in range(rows)]
    ).encode()


async def serve() -> None:
    """The server's process: answers every request on a kept connection, and says its port first."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while True:
                head = await reader.readuntil(b"\r\n\r\n")
                body = document(int(head.split(b" ")[1].strip(b"/")))
                fields = ("HTTP/1.1 200 OK", "Content-Type: application/json", f"Content-Length: {len(body)}")
                writer.write("\r\n".join(fields).encode() + b"\r\n\r\n" + body)
        except (OSError, asyncio.IncompleteReadError):
            writer.close()

    server = await asyncio.start_server(talk, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


async def timed(once: Callable[[], Awaitable[object]]) -> float:
    """Microseconds a call."""
    began = perf_counter()
    for _ in range(CALLS):
        await once()
    return (perf_counter() - began) / CALLS * 1e6


async def compare(port: int, rounds: int) -> None:
    """Print the two costs and their ratio for each document, and what a crowd costs."""
    adapter = HttpAdapter()
    reach = Reach(named=frozenset({("127.0.0.1", port)}))
    async with httpx.AsyncClient(trust_env=False) as client:
        for name, rows in ROWS.items():
            url = f"http://127.0.0.1:{port}/{rows}"
            call = Call(url, reach=reach)

            async def script(url: str = url) -> object:
                return json.loads((await client.get(url)).content)

            async def fetch(call: Call = call) -> object:
                return json.loads((await adapter.fetch(call, 10)).body)

            assert await script() == await fetch()
            scripts, fetches = [], []
            for _ in range(rounds):
                scripts.append(await timed(script))
                fetches.append(await timed(fetch))
            one, other = statistics.median(scripts), statistics.median(fetches)
            began = perf_counter()
            await asyncio.gather(*(fetch() for _ in range(CROWD)))
            crowd = (perf_counter() - began) / CROWD * 1e6
            print(f"{name}: script {one:.0f} us, adapter {other:.0f} us, ratio {other / one:.2f}")
            print(f"{name}: {CROWD} at once {crowd:.0f} us each")
    await adapter.aclose()


def main() -> None:
    """Start the server, compare, stop it."""
    if sys.argv[1:] == ["serve"]:
        asyncio.run(serve())
        return
    with subprocess.Popen([sys.executable, __file__, "serve"], stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        try:
            asyncio.run(compare(int(server.stdout.readline()), int(sys.argv[1]) if sys.argv[1:] else 7))
        finally:
            server.kill()


if __name__ == "__main__":
    main()
