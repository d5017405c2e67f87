"""How long an ASK takes, as ratios within one run: python -m tests.bench.bench_ask

Four processes on loopback: a far server with one JSON document, `headrace serve`, a bare asyncio line echo,
and a hand-written line service over httpx and json. A client asks each in turn, round after round, so that a
machine that slows down slows all of them; the medians of the rounds are compared.
"""

import argparse
import json
import os
import resource
import socket
import statistics
import subprocess
import sys
import tempfile
import textwrap
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

DOCUMENT = json.dumps(
    {
        "station": "North Mole (invented)",
        "events": [
            {"when": f"2026-06-{day:02}T{hour:02}:15:00Z", "kind": "high", "height": 3.25, "note": "x" * 40}
            for day in range(1, 3)
            for hour in (1, 7, 13, 19)
        ],
    }
).encode()

FAR = """
import asyncio, sys
BODY = {body!r}
HEAD = b"HTTP/1.1 200 OK\\r\\nContent-Type: application/json\\r\\nContent-Length: %d\\r\\n\\r\\n" % len(BODY)
class Far(asyncio.Protocol):
    def connection_made(self, transport): self.transport = transport
    def data_received(self, data):
        for _ in range(data.count(b"\\r\\n\\r\\n")): self.transport.write(HEAD + BODY)
"""
ECHO = """
import asyncio
async def serve(reader, writer):
    while line := await reader.readline():
        writer.write(line)
        await writer.drain()
"""
SCRIPT = """
import asyncio, httpx, json
client = httpx.AsyncClient()
async def serve(reader, writer):
    while await reader.readline():
        events = json.loads((await client.get({url!r})).content)["events"]
        rows = ["%s %-4s %6.2f" % (e["when"][11:16], e["kind"], e["height"]) for e in events]
        writer.write(("200 %05d 017 ..\\r\\n" % len(rows) + "".join(row + "\\r\\n" for row in rows)).encode())
        await writer.drain()
"""
RUN_STREAMS = """
async def main():
    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()
asyncio.run(main())
"""
RUN_PROTOCOL = """
async def main():
    server = await asyncio.get_running_loop().create_server(Far, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()
asyncio.run(main())
"""


def catalogue(url: str, state: Path) -> str:
    source = """
        [source.{name}]
        url = "{url}"
        rows = "$.events"
        {keep}
        [[source.{name}.field]]
        name = "TIME"
        at = "$.when"
        kind = "time"
        [[source.{name}.field]]
        name = "KIND"
        at = "$.kind"
        width = 4
        [[source.{name}.field]]
        name = "METRES"
        at = "$.height"
        kind = "fixed"
        width = 6
    """
    text = f'[gateway]\nstate = "{state}"\n[[listen]]\nport = 0\n'
    text += source.format(name="warm", url=url, keep='keep = "1h"')
    return textwrap.dedent(text + source.format(name="cold", url=url, keep=""))


@contextmanager
def process(*command: str, ready: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A child and the port that it says it listens at, on the stream named `ready`."""
    streams = {"stdout": None, "stderr": None, ready: subprocess.PIPE}
    child = subprocess.Popen([sys.executable, *command], text=True, **streams)  # type: ignore[call-overload]
    pin(child.pid, servers=True)
    try:
        line = getattr(child, ready).readline()
        yield child, int(line.rpartition(":")[2].split()[0])
    finally:
        child.terminate()
        child.wait(10)


def pin(pid: int, *, servers: bool) -> None:
    """Servers on one processor, the client on another: where they wander, the ratios wander with them."""
    with suppress(AttributeError, OSError):  # one processor only, or a system that has no such call
        first, *others = sorted(os.sched_getaffinity(os.getppid()))
        os.sched_setaffinity(pid, {others[-1] if servers and others else first})


class Client:
    """One connection; `ask` gives the seconds of one round trip."""

    def __init__(self, port: int, request: bytes, counted: bool) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port))
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._file = self._socket.makefile("rb")
        self._request, self._counted = request, counted

    def ask(self) -> float:
        started = time.perf_counter()
        self._socket.sendall(self._request)
        line = self._file.readline()
        if self._counted:
            assert line[:1] == b"2", line + self._file.readline()
            for _ in range(int(line[4:9])):
                self._file.readline()
        return time.perf_counter() - started


def peak(pid: int) -> int:
    """Resident kilobytes of a process."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    raise AssertionError(line)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=40)
    options.add_argument("--clients", type=int, default=1000)
    chosen = options.parse_args()
    pin(0, servers=False)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        far = stack.enter_context(process("-c", FAR.format(body=DOCUMENT) + RUN_PROTOCOL, ready="stdout"))[1]
        url = f"http://127.0.0.1:{far}/tides.json"
        config = folder / "headrace.toml"
        config.write_text(catalogue(url, folder / "state"))
        serve = ("-m", "gateway.commands.main", "serve", "--config", str(config))
        gateway, port = stack.enter_context(process(*serve, ready="stderr"))
        echo = stack.enter_context(process("-c", ECHO + RUN_STREAMS, ready="stdout"))[1]
        script = stack.enter_context(process("-c", SCRIPT.format(url=url) + RUN_STREAMS, ready="stdout"))[1]
        clients = {
            "echo": Client(echo, b"ASK warm\r\n", False),
            "warm": Client(port, b"ASK warm\r\n", True),
            "script": Client(script, b"ASK cold\r\n", True),
            "cold": Client(port, b"ASK cold\r\n", True),
        }
        times: dict[str, list[float]] = {name: [] for name in clients}
        for each in range(chosen.rounds + 2):
            for name, client in clients.items():
                count = 200 if name in {"echo", "warm"} else 25
                median = statistics.median(client.ask() for _ in range(count))
                if each >= 2:
                    times[name].append(median)
        medians = {name: statistics.median(values) for name, values in times.items()}
        for name, seconds in medians.items():
            print(f"{name:8} {seconds * 1e6:9.1f} us")
        for top, bottom in (("warm", "echo"), ("cold", "script"), ("script", "echo"), ("cold", "echo")):
            ratios = [a / b for a, b in zip(times[top], times[bottom], strict=True)]
            middle = statistics.median(ratios)
            print(f"{top}/{bottom}: {middle:.2f} (from {min(ratios):.2f} to {max(ratios):.2f})")
        before = peak(gateway.pid)
        resource.setrlimit(resource.RLIMIT_NOFILE, (4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
        idle = [Client(port, b"NOOP\r\n", True) for _ in range(chosen.clients - 2)]
        for client in idle:
            client.ask()
        after = peak(gateway.pid)
        each_one = (after - before) / len(idle)
        print(f"{len(idle)} idle clients: {each_one:.1f} KiB each, {after / 1024:.0f} MiB in all")


if __name__ == "__main__":
    main()
