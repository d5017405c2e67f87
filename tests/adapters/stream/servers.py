"""Far servers of streams on loopback: real ones as processes, and asyncio ones that do as a test wants."""

import asyncio
import os
import re
import shutil
import signal
import socket
import ssl
import struct
import subprocess
import threading
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Sequence
from contextlib import asynccontextmanager, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import trustme

from adapters.port import Reach
from adapters.streams import Calling, Terminal
from tests.adapters.ftp_servers import binary, free_ports

LOOPBACK = "127.0.0.1"
HOST = "quay.example"
TERMINAL = Terminal(40, 24, "GLASS-40")


async def here(host: str, port: int) -> Sequence[str]:
    """Every name is this machine."""
    return [LOOPBACK]


def calling(scheme: str, port: int, host: str = HOST, **changes: Any) -> Calling:
    """To a far server on this machine, which the catalogue names."""
    reach = Reach(named=frozenset({(host, port)}))
    return Calling(**{"url": f"{scheme}://{host}:{port}", "reach": reach, "terminal": TERMINAL, **changes})


@dataclass(frozen=True)
class FarServer:
    """A real one, which sends back what it gets. `greeting` is the end of what it says first."""

    scheme: str
    port: int
    ca: str | None = None
    greeting: bytes = b""

    def calling(self, **changes: Any) -> Calling:
        return calling(self.scheme, self.port, **{"ca": self.ca, **changes})


@contextmanager
def socat(scheme: str, folder: Path) -> Iterator[FarServer]:
    """For tcp, tls and udp: one child for each caller."""
    program = shutil.which("socat")
    if program is None:
        pytest.skip("socat is not installed")
    port = free_ports(1)[0]
    ca = None
    more = ""
    if scheme == "tls":
        authority = trustme.CA()
        authority.cert_pem.write_to_path(str(folder / "ca.pem"))
        authority.issue_cert(HOST).private_key_and_cert_chain_pem.write_to_path(str(folder / "own.pem"))
        ca, more = str(folder / "ca.pem"), f",cert={folder}/own.pem,verify=0"
    kind = {"tcp": "TCP", "tls": "OPENSSL", "udp": "UDP"}[scheme]
    listen = f"{kind}-LISTEN:{port},bind={LOOPBACK},reuseaddr,fork{more}"
    command = [program, "-d", "-d", "-T", "20", listen, "EXEC:cat" if scheme != "udp" else "PIPE"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, start_new_session=True) as process:
        assert process.stderr is not None
        try:
            for line in process.stderr:
                if b"listening on" in line:
                    break
            threading.Thread(target=process.stderr.read, daemon=True).start()  # so that it never waits for us
            yield FarServer(scheme, port, ca)
        finally:
            os.killpg(process.pid, signal.SIGKILL)  # its children, one for each caller, too


_PROGRAM = """#!/bin/sh
stty -a | grep -o 'rows [0-9]*; columns [0-9]*'
stty raw -echo
echo "kind $TERM; READY"
exec cat
"""


@contextmanager
def telnetd(folder: Path) -> Iterator[FarServer]:
    """A telnet server of the distribution, with a program of our own in the place of a login."""
    program = binary("telnetd") or ""
    if not program:
        pytest.skip("telnetd is neither installed nor unpacked")
    own = folder / "program"
    own.write_text(_PROGRAM)
    own.chmod(0o755)
    command = [program, "--no-hostinfo", "--exec-login", str(own)]
    running: list[subprocess.Popen[bytes]] = []
    with socket.create_server((LOOPBACK, 0)) as listener:

        def serve() -> None:
            while True:
                try:
                    caller, _ = listener.accept()
                except OSError:
                    return
                with caller:
                    running.append(subprocess.Popen(command, stdin=caller.fileno(), stdout=caller.fileno()))

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield FarServer("telnet", listener.getsockname()[1], greeting=b"READY\n")
        finally:
            listener.shutdown(socket.SHUT_RDWR)  # which ends accept
            thread.join()
            for process in running:
                process.terminate()
                process.wait()


Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@asynccontextmanager
async def serving(serve: Serve, tls: ssl.SSLContext | None = None) -> AsyncIterator[int]:
    """The port of a server that treats each caller as `serve` says, and closes afterwards."""
    tasks: set[asyncio.Task[None]] = set()

    async def one(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            with suppress(OSError, asyncio.IncompleteReadError, asyncio.CancelledError):
                await serve(reader, writer)
        finally:
            tasks.discard(task)
            writer.close()
            with suppress(OSError):
                await writer.wait_closed()

    listener = await asyncio.start_server(one, LOOPBACK, 0, ssl=tls)
    try:
        yield listener.sockets[0].getsockname()[1]
    finally:
        listener.close()
        for task in list(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def reset(writer: asyncio.StreamWriter) -> None:
    """End the connection with a TCP reset instead of a FIN."""
    no_linger = struct.pack("ii", 1, 0)
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, no_linger)
    writer.transport.abort()


async def everything(receive: Callable[[], Awaitable[bytes | None]]) -> bytes:
    """All that comes until the far end."""
    pieces = []
    while (piece := await receive()) is not None:
        pieces.append(piece)
    return b"".join(pieces)


async def until(receive: Callable[[], Awaitable[bytes | None]], size: int) -> bytes:
    """That many bytes, or as many as came before the end."""
    data = b""
    while len(data) < size and (piece := await receive()) is not None:
        data += piece
    return data


async def up_to(receive: Callable[[], Awaitable[bytes | None]], end: bytes) -> bytes:
    """What comes until it ends in `end`."""
    data = b""
    while not data.endswith(end):
        piece = await receive()
        assert piece is not None, data
        data += piece
    return data


def resident() -> int:
    """Bytes of memory that this process has now (Linux)."""
    found = re.search(r"VmRSS:\s+(\d+) kB", Path("/proc/self/status").read_text())
    assert found is not None
    return int(found[1]) * 1024
