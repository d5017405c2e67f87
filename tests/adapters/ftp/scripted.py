"""An FTP server on loopback that fails exactly where a test wants it to, and notes what it was told.

It holds documents in a dictionary, so that a test can look at the target behind the adapter's back. What it
says follows RFC 959, RFC 2428 and RFC 3659; `faults` say what goes wrong at which command.
"""

import asyncio
import hashlib
import re
import socket
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from functools import partial

from adapters.files import Target
from adapters.port import CredentialKind, Credentials, Reach
from tests.adapters.http.servers import reset

LOOPBACK = "127.0.0.1"
SECRET = "hush-hush"


@dataclass
class Fault:
    """What goes wrong at a command, `times` times, after `skip` times without.

    cut, reset, stall, drip: the control connection ends, or no (whole) reply comes; before the command is
    carried out, or after it if `acted`. say: `reply` comes instead, and nothing is done. short, data-cut,
    data-stall, data-reset, data-drip: the data connection ends (with a 226, or without), or stops.
    short-reset, short-half: it ends with a reset, or on the server's side only. data-none: a 226 at once.
    """

    kind: str
    reply: str = ""
    acted: bool = False
    times: int = 1
    skip: int = 0


class _Gone(Exception):
    """The connection is over."""


@dataclass
class Scripted:
    """`documents` and `folders` are absolute paths. `told` are the commands, in order, of all connections."""

    documents: dict[bytes, bytes] = field(default_factory=dict)
    folders: set[bytes] = field(default_factory=lambda: {b"/", b"/pub"})
    faults: dict[str, Fault] = field(default_factory=dict)
    told: list[bytes] = field(default_factory=list)
    features: tuple[str, ...] = ("MLST type*;size*;modify*;", "SIZE", "MDTM", "REST STREAM")
    unknown: frozenset[str] = frozenset()
    greeting: str = "220 ready"
    epsv: str = ""  # a refusal instead of a port
    address: str = "127,0,0,1"  # what PASV names
    renames_over: bool = True
    most: int = 99
    list_lines: bytes = b""
    at_stop: str = "426 broke off"  # what is said where the client closes a data connection
    short_names: bool = False  # like a disk that takes 8 letters and 3
    stops: int = 0  # how often that was said
    ends_after: float | None = None  # seconds without a command, after which a session is ended
    digest_of: bytes | None = None  # what HASH is worked out from, instead of the document
    tls: ssl.SSLContext | None = None
    implicit: bool = False
    resumed: list[bool] = field(default_factory=list)  # of data connections inside TLS
    port: int = 0
    connections: int = 0
    open: int = 0
    most_at_once: int = 0
    data_connections: int = 0

    @property
    def target(self) -> Target:
        """The folder /pub."""
        url = f"{'ftps' if self.tls else 'ftp'}://{LOOPBACK}:{self.port}/pub/"
        return Target(
            url,
            url,
            Credentials(CredentialKind.BASIC, "reader", SECRET),
            reach=Reach(named=frozenset({(LOOPBACK, self.port)})),
        )

    def words(self) -> list[str]:
        """The commands without what they are about."""
        return [each.partition(b" ")[0].decode("latin-1") for each in self.told]

    def parts(self) -> list[bytes]:
        """What was left beside a target."""
        return [path for path in self.documents if b".hr-" in path or path.startswith(b"/pub/HR")]


@dataclass
class _Connection:
    server: Scripted
    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    folder: bytes = b"/"
    renaming: bytes = b""
    offset: int = 0
    data: "asyncio.Future[tuple[asyncio.StreamReader, asyncio.StreamWriter]] | None" = None
    listener: asyncio.Server | None = None
    arrivals: list[asyncio.StreamWriter] = field(default_factory=list)

    async def say(self, line: str) -> None:
        if not line:
            return
        self.writer.write(line.encode("latin-1") + b"\r\n")
        await self.writer.drain()

    async def run(self) -> None:
        server = self.server
        if server.open > server.most:
            await self.say("421 too many")
            return
        await self.fault("GREETING", self.greet)
        while line := await self.line():
            command = line.rstrip(b"\r\n")
            server.told.append(command)
            word, _, rest = command.partition(b" ")
            name = word.decode("latin-1").upper()
            if name in server.unknown:
                await self.say("500 unknown")
                continue
            act = getattr(self, "do_" + name.lower(), None)
            await self.fault(name, partial(act, rest) if act else partial(self.say, "502 no"))

    async def line(self) -> bytes:
        with suppress(TimeoutError):
            async with asyncio.timeout(self.server.ends_after):
                return await self.reader.readline()
        await self.say("421 idle")
        return b""

    async def greet(self) -> None:
        await self.say(self.server.greeting)

    async def fault(self, name: str, act: Callable[[], Awaitable[None]]) -> None:
        fault = self.server.faults.get(name)
        if fault is not None and fault.skip > 0:
            fault.skip -= 1
            fault = None
        if fault is None or fault.times <= 0 or fault.kind.startswith(("data-", "short", "say-tls")):
            await act()
            return
        fault.times -= 1
        if fault.acted:
            silent = _Connection(self.server, self.reader, _Mute(self.writer), self.folder, self.renaming)  # type: ignore[arg-type]
            await getattr(silent, act_name(name))(self.server.told[-1].partition(b" ")[2])
        if fault.kind == "say":
            await self.say(fault.reply)
        elif fault.kind == "drip":
            for _ in range(1000):
                self.writer.write(b"2")
                await self.writer.drain()
                await asyncio.sleep(0.05)
        elif fault.kind == "stall":
            await self.reader.read()
            raise _Gone
        else:
            if fault.kind == "reset":
                reset(self.writer)
            raise _Gone

    def path(self, name: bytes) -> bytes:
        name = name.removeprefix(b"./")
        whole = name if name.startswith(b"/") else self.folder.rstrip(b"/") + b"/" + name
        return whole.rstrip(b"/") or b"/"

    async def do_user(self, rest: bytes) -> None:
        await self.say("331 password")

    async def do_pass(self, rest: bytes) -> None:
        await self.say("230 in" if rest == SECRET.encode() else "530 no")

    async def do_auth(self, rest: bytes) -> None:
        if self.server.tls is None:
            await self.say("502 no TLS")
            return
        fault = self.server.faults.get("AUTH")
        await self.say(fault.reply if fault is not None and fault.kind == "say-tls" else "234 go")
        await self.writer.start_tls(self.server.tls)

    async def do_pbsz(self, rest: bytes) -> None:
        await self.say("200 ok")

    do_prot = do_type = do_noop = do_opts = do_pbsz

    async def do_feat(self, rest: bytes) -> None:
        lines = "".join(f" {each}\r\n" for each in self.server.features)
        await self.say(f"211-features\r\n{lines}211 end")

    async def do_syst(self, rest: bytes) -> None:
        await self.say("215 UNIX Type: L8")

    async def do_pwd(self, rest: bytes) -> None:
        await self.say('257 "/" here')

    async def do_quit(self, rest: bytes) -> None:
        await self.say("221 bye")
        raise _Gone

    async def do_cwd(self, rest: bytes) -> None:
        path = self.path(rest)
        if path in self.server.folders:
            self.folder = path
            await self.say("250 there")
        else:
            await self.say("550 no such folder")

    async def do_mlst(self, rest: bytes) -> None:
        path = self.path(rest)
        if path in self.server.documents:
            facts = f"type=file;size={len(self.server.documents[path])};modify=20240229000500;"
        elif path in self.server.folders:
            facts = "type=dir;modify=20240229000500;"
        else:
            await self.say("550 no such file")
            return
        await self.say(f"250-it is\r\n {facts} {path.decode('latin-1')}\r\n250 end")

    async def do_size(self, rest: bytes) -> None:
        body = self.server.documents.get(self.path(rest))
        await self.say("550 no such file" if body is None else f"213 {len(body)}")

    async def do_hash(self, rest: bytes) -> None:
        body = self.server.documents.get(self.path(rest), b"")
        digest = hashlib.sha256(body if self.server.digest_of is None else self.server.digest_of)
        await self.say(f"213 SHA-256 0-{len(body)} {digest.hexdigest()} x")

    async def do_mdtm(self, rest: bytes) -> None:
        await self.say("213 20240229000500")

    async def do_epsv(self, rest: bytes) -> None:
        if self.server.epsv:
            await self.say(self.server.epsv)
        else:
            port = await self.listen()
            await self.say(f"229 here (|||{port}|)")

    async def do_pasv(self, rest: bytes) -> None:
        port = await self.listen()
        await self.say(f"227 here ({self.server.address},{port >> 8},{port & 255})")

    async def listen(self) -> int:
        self.data = asyncio.get_running_loop().create_future()
        came = self.data

        def arrived(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            self.server.data_connections += 1
            self.arrivals.append(writer)
            if not came.done():
                came.set_result((reader, writer))

        if self.listener is not None:
            self.listener.close()
        self.listener = await asyncio.start_server(arrived, LOOPBACK, 0)
        port: int = self.listener.sockets[0].getsockname()[1]
        return port

    async def secured(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        """The data connection, inside TLS if the control connection is: after the 150, as real servers do."""
        assert self.data is not None
        reader, writer = await self.data
        if self.server.tls is not None:
            await writer.start_tls(self.server.tls)
            self.server.resumed.append(writer.get_extra_info("ssl_object").session_reused)
        return reader, writer

    async def do_rest(self, rest: bytes) -> None:
        self.offset = int(rest)
        await self.say("350 go on")

    async def send(self, word: str, body: bytes) -> None:
        """A body over the data connection, with what `faults` say of that command's data."""
        fault = self.server.faults.get(word)
        if fault is not None and fault.kind == "data-none":
            await self.say("226 nothing to send")  # without the 150
            (await self.secured())[1].close()
            return
        await self.say("150 begun")
        _, writer = await self.secured()
        kind = ""
        if fault is not None and fault.times > 0 and fault.kind.startswith(("data-", "short")):
            fault.times -= 1
            kind = fault.kind
        writer.write(body[: len(body) // 2] if kind else body)
        try:
            await writer.drain()
        except OSError:
            self.server.stops += 1
            await self.say(self.server.at_stop)
            return
        if kind == "data-stall":
            await self.reader.read()
            raise _Gone
        if kind == "data-drip":
            for _ in range(1000):
                writer.write(b".")
                await writer.drain()
                await asyncio.sleep(0.05)
        if kind in {"data-reset", "short-reset"}:
            reset(writer)
        if kind == "short-raw":  # the TCP connection ends below TLS
            await asyncio.sleep(0.02)
            below = writer.get_extra_info("socket")
            if below is not None:  # else the client has gone before
                below.shutdown(socket.SHUT_WR)
        writer.close()
        if kind == "data-cut":
            raise _Gone
        await self.say("226 done" if not kind or kind.startswith("short") else "426 broke off")

    async def do_mlsd(self, rest: bytes) -> None:
        lines = [
            b"type=cdir; /",
            *self.entries(b"type=dir;modify=20240229000500; %s", b"type=file;size=%d; %s"),
        ]
        await self.send("MLSD", b"".join(line + b"\r\n" for line in lines))

    async def do_list(self, rest: bytes) -> None:
        lines = self.entries(b"drwxr-xr-x 2 o g 4096 Nov 14 2001 %s", b"-rw-r--r-- 1 o g %d Nov 14 2001 %s")
        await self.send("LIST", self.server.list_lines or b"".join(line + b"\r\n" for line in lines))

    def entries(self, folder: bytes, document: bytes) -> list[bytes]:
        inside = self.folder.rstrip(b"/") + b"/"
        found = [
            folder % path.removeprefix(inside) for path in self.server.folders if self.is_in(path, inside)
        ]
        for path, body in self.server.documents.items():
            if self.is_in(path, inside):
                found.append(document % (len(body), path.removeprefix(inside)))
        return found

    @staticmethod
    def is_in(path: bytes, inside: bytes) -> bool:
        return path.startswith(inside) and path != b"/" and b"/" not in path.removeprefix(inside)

    async def do_retr(self, rest: bytes) -> None:
        body = self.server.documents.get(self.path(rest))
        if body is None:
            await self.say("550 no such file")
            return
        start, self.offset = self.offset, 0
        await self.send("RETR", body[start:])

    async def do_stor(self, rest: bytes) -> None:
        if self.server.short_names and not re.fullmatch(rb"[^.]{1,8}(\.[^.]{0,3})?", rest):
            await self.say("553 bad name")
            return
        fault = self.server.faults.get("STOR")
        kind = ""
        if fault is not None and fault.times > 0 and fault.kind.startswith(("data-", "short")):
            fault.times -= 1
            kind = fault.kind
        await self.say("150 begun")
        reader, writer = await self.secured()
        body = bytearray()
        while chunk := await reader.read(65_536):
            body += chunk
            self.server.documents[self.path(rest)] = bytes(body)
            if kind == "short-half":  # our side ends, and the client may go on
                writer.write_eof()
            elif kind and kind != "short":
                break
        self.server.documents[self.path(rest)] = bytes(body[: len(body) // 2] if kind else body)
        if kind == "data-stall":
            await self.reader.read()
            raise _Gone
        if kind == "data-reset":
            reset(writer)
        writer.close()
        if kind == "data-cut":
            raise _Gone
        await self.say(fault.reply if kind and fault and fault.reply else "226 done")

    async def do_rnfr(self, rest: bytes) -> None:
        self.renaming = self.path(rest)
        there = self.renaming in self.server.documents or self.renaming in self.server.folders
        await self.say("350 to what" if there else "550 no such file")

    async def do_rnto(self, rest: bytes) -> None:
        server, to = self.server, self.path(rest)
        if to in server.folders or (to in server.documents and not server.renames_over):
            await self.say("550 file exists")
        elif self.renaming in server.documents:
            server.documents[to] = server.documents.pop(self.renaming)
            await self.say("250 renamed")
        elif self.renaming in server.folders:
            server.folders.remove(self.renaming)
            server.folders.add(to)
            await self.say("250 renamed")
        else:
            await self.say("550 no such file")

    async def do_dele(self, rest: bytes) -> None:
        gone = self.server.documents.pop(self.path(rest), None)
        await self.say("550 no such file" if gone is None else "250 gone")

    async def do_rmd(self, rest: bytes) -> None:
        path = self.path(rest)
        inside = path + b"/"
        if path not in self.server.folders:
            await self.say("550 no such folder")
        elif any(each.startswith(inside) for each in [*self.server.documents, *self.server.folders]):
            await self.say("550 not empty")
        else:
            self.server.folders.remove(path)
            await self.say("250 gone")

    async def do_mkd(self, rest: bytes) -> None:
        path = self.path(rest)
        if path in self.server.folders or path in self.server.documents:
            await self.say("550 exists")
        else:
            self.server.folders.add(path)
            await self.say("257 made")


class _Mute:
    """A writer that says nothing: the command is carried out, and nobody hears of it."""

    def __init__(self, writer: asyncio.StreamWriter) -> None:
        self._writer = writer

    def write(self, data: bytes) -> None:
        """Nothing."""

    async def drain(self) -> None:
        """Nothing."""


def act_name(command: str) -> str:
    return "do_" + command.lower()


@asynccontextmanager
async def scripted(**options: object) -> AsyncIterator[Scripted]:
    """A server on a free port."""
    server = Scripted(**options)  # type: ignore[arg-type]
    tasks: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        server.connections += 1
        server.open += 1
        server.most_at_once = max(server.most_at_once, server.open)
        connection = _Connection(server, reader, writer)
        try:
            with suppress(OSError, _Gone, ssl.SSLError):
                await connection.run()
        except asyncio.CancelledError:
            writer.transport.abort()
        finally:
            server.open -= 1
            tasks.discard(task)
            if connection.listener is not None:
                connection.listener.close()
            for each in (*connection.arrivals, writer):
                each.close()

    listener = await asyncio.start_server(serve, LOOPBACK, 0, ssl=server.tls if server.implicit else None)
    server.port = listener.sockets[0].getsockname()[1]
    try:
        yield server
    finally:
        listener.close()
        for task in list(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.sleep(0)  # for transports to close
