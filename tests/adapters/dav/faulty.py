"""A small WebDAV server of the tests, in memory, that fails where it is told to: after RFC 4918 section 9,
with what is needed of it here. What real servers do is tested with real servers.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from urllib.parse import quote, unquote_to_bytes, urlsplit

from adapters.dav.adapter import DavAdapter
from adapters.files import Target
from adapters.port import Credentials, Reach
from tests.adapters.http.servers import LOOPBACK, reset

Said = tuple[str, bytes, dict[str, str]]
"""Status line, body, header fields."""

FOLDER = None
"""What a folder is in `Faulty.things`, where documents are bytes."""


@dataclass(frozen=True)
class Fault:
    """What goes wrong with one request: `acts`, whether it is done all the same, and what is answered: a
    status line and a body, or nothing before the connection ends (`cut`), is reset, or stalls. `keeps` is how
    many bytes of a PUT the server has by then.
    """

    acts: bool = False
    status: str = ""
    body: bytes = b""
    end: str = "cut"
    keeps: int | None = None
    meanwhile: bytes = b""  # somebody else writes this to the target before
    well: bool = False  # and then the request goes as it should
    completes: bool = False  # a request that stalled is done before
    half: bool = False  # a MOVE takes the target away, and gets no further
    coding: str = ""  # what the body is compressed by


@dataclass
class Faulty:
    """`faults` are by method, in the order of its requests; None lets one be."""

    things: dict[bytes, bytes | None] = field(default_factory=lambda: {b"/": FOLDER})
    faults: dict[str, list[Fault | None]] = field(default_factory=dict)
    requests: list[tuple[str, str]] = field(default_factory=list)
    heads: list[dict[str, str]] = field(default_factory=list)
    etags: bool = True
    port: int = 0
    _arrived: asyncio.Event = field(default_factory=asyncio.Event)
    _stalled: list[tuple[str, bytes, bytes, dict[str, str]]] = field(default_factory=list)
    _changes: int = 0
    _etags: dict[bytes, int] = field(default_factory=dict)

    def target(self, name: str = "", credentials: Credentials | None = None) -> Target:
        root = f"dav://{LOOPBACK}:{self.port}/"
        reach = Reach(frozenset({(LOOPBACK, self.port)}))
        return Target(root + quote(name), root, credentials, reach=reach)

    def methods(self) -> list[str]:
        return [method for method, _ in self.requests]

    async def began(self, method: str) -> None:
        """Until a request of that method is here."""
        while method not in self.methods():
            self._arrived.clear()
            await self._arrived.wait()

    def documents(self) -> dict[bytes, bytes | None]:
        """Everything but the root."""
        return {name: body for name, body in self.things.items() if name != b"/"}

    def put(self, path: bytes, body: bytes) -> None:
        self.things[path] = body
        self._changes += 1
        self._etags[path] = self._changes

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            with suppress(OSError, asyncio.IncompleteReadError):
                while await self._one(reader, writer):
                    pass
        finally:
            writer.close()

    async def _one(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        lines = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
        method, url, _ = lines[0].split(" ")
        head = {
            key.lower(): value.strip()
            for key, _, value in (line.partition(":") for line in lines[1:] if line)
        }
        self.requests.append((method, url))
        self.heads.append(head)
        self._arrived.set()
        fault = (self.faults.get(method) or [None]).pop(0)
        path = unquote_to_bytes(url)
        body = await self._body(reader, head, fault)
        if body is None:
            assert fault is not None
            if fault.acts:
                self.put(path, b"n" * (fault.keeps or 0))
            return await self._fail(reader, writer, fault)
        if fault is not None and fault.meanwhile:
            self.put(unquote_to_bytes(urlsplit(head.get("destination", url)).path), fault.meanwhile)
        if fault is not None and fault.half:
            del self.things[unquote_to_bytes(urlsplit(head["destination"]).path)]
        if fault is not None and fault.completes:
            self._act(*self._stalled.pop())
        if fault is None or fault.well:
            status, answer, fields = self._act(method, path, body, head)
            self._say(writer, status, answer, fields, method)
            await writer.drain()
            return head.get("connection") != "close"
        if fault.acts:
            self._act(method, path, body, head)
        elif fault.end == "stall":
            self._stalled.append((method, path, body, head))
        return await self._fail(reader, writer, fault)

    async def _body(
        self, reader: asyncio.StreamReader, head: dict[str, str], fault: Fault | None
    ) -> bytes | None:
        """None where the server stops reading before the end."""
        if head.get("transfer-encoding") == "chunked":
            parts = b""
            while size := int((await reader.readline()).split(b";")[0], 16):
                parts += await reader.readexactly(size)
                await reader.readline()
            await reader.readline()
            return parts
        length = int(head.get("content-length", "0"))
        if fault is not None and fault.keeps is not None and fault.keeps < length:
            await reader.readexactly(fault.keeps)
            return None
        return await reader.readexactly(length)

    async def _fail(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, fault: Fault) -> bool:
        if fault.status:
            coded = {"Content-Encoding": fault.coding} if fault.coding else {}
            self._say(writer, fault.status, fault.body, coded, "")
            await writer.drain()
        elif fault.end == "stall":
            await asyncio.sleep(60)
        elif fault.end == "reset":
            reset(writer)
        return False

    def _say(
        self, writer: asyncio.StreamWriter, status: str, body: bytes, fields: dict[str, str], method: str
    ) -> None:
        named = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
        writer.write(f"HTTP/1.1 {status}\r\n{named}Content-Length: {len(body)}\r\n\r\n".encode())
        writer.write(b"" if method == "HEAD" else body)

    def _act(self, method: str, path: bytes, body: bytes, head: dict[str, str]) -> Said:
        folder = path.endswith(b"/")
        path = path.rstrip(b"/") or b"/"
        if method == "PUT":
            return self._put(path, body, head)
        if method == "MKCOL":
            if path in self.things:
                return "405 Not Allowed", b"", {}
            self.things[path] = FOLDER
            return "201 Created", b"", {}
        if path not in self.things or (folder and self.things[path] is not FOLDER):
            return "404 Not Found", b"", {}
        if method == "PROPFIND":
            return "207 Multi-Status", self._found(path, head["depth"]), {"Content-Type": "application/xml"}
        if method in ("GET", "HEAD"):
            return "200 OK", self.things[path] or b"", {"ETag": self._etag(path)} if self.etags else {}
        if method == "DELETE":
            del self.things[path]
            return "204 No Content", b"", {}
        return self._move(method, path, head)

    def _put(self, path: bytes, body: bytes, head: dict[str, str]) -> Said:
        if (path.rpartition(b"/")[0] or b"/") not in self.things:
            return "409 Conflict", b"", {}
        if head.get("if-none-match") == "*" and path in self.things:
            return "412 Precondition Failed", b"", {}
        if "if-match" in head and head["if-match"] != self._etag(path):
            return "412 Precondition Failed", b"", {}
        self.put(path, body)
        return "201 Created", b"", {}

    def _move(self, method: str, path: bytes, head: dict[str, str]) -> Said:
        url = urlsplit(head["destination"])
        assert url.netloc == f"{LOOPBACK}:{self.port}"
        to = unquote_to_bytes(url.path).rstrip(b"/")
        told = f"<{head['destination']}> ([{self._etag(to)}])"
        refused = (to in self.things and head["overwrite"] == "F") or head.get("if", told) != told
        if refused:
            return "412 Precondition Failed", b"", {}
        moved = self.things[path]
        if moved is None:
            self.things[to] = FOLDER
        else:
            self.put(to, moved)
        if method == "MOVE":
            for name in [each for each in self.things if each == path or each.startswith(path + b"/")]:
                if name != path:
                    self.things[to + name[len(path) :]] = self.things[name]
                del self.things[name]
        return "201 Created", b"", {}

    def _etag(self, path: bytes) -> str:
        return f'"{self._etags.get(path, 0)}"'

    def _found(self, path: bytes, depth: str) -> bytes:
        within = path.rstrip(b"/") + b"/"
        inside = [each for each in self.things if each.startswith(within) and b"/" not in each[len(within) :]]
        names = [path, *(each for each in inside if each != path)] if depth == "1" else [path]
        return (
            '<?xml version="1.0"?><D:multistatus xmlns:D="DAV:">'
            + "".join(self._response(each) for each in names)
            + "</D:multistatus>"
        ).encode()

    def _response(self, path: bytes) -> str:
        body = self.things[path]
        kind = "<D:collection/>" if body is None else ""
        size = "" if body is None else f"<D:getcontentlength>{len(body)}</D:getcontentlength>"
        etag = f"<D:getetag>{self._etag(path)}</D:getetag>" if self.etags and body is not None else ""
        slash = "/" if body is None and path != b"/" else ""
        return (
            f"<D:response><D:href>{quote(path)}{slash}</D:href><D:propstat><D:prop>"
            f"<D:resourcetype>{kind}</D:resourcetype>{size}{etag}</D:prop>"
            f"<D:status>HTTP/1.1 200 OK</D:status></D:propstat></D:response>"
        )


@asynccontextmanager
async def faulty() -> AsyncIterator[tuple[Faulty, DavAdapter]]:
    """The server, and an adapter for it."""
    server, adapter = Faulty(), DavAdapter()
    tasks: set[asyncio.Task[None]] = set()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            await server.serve(reader, writer)
        except asyncio.CancelledError:
            writer.transport.abort()
        finally:
            tasks.discard(task)

    listener = await asyncio.start_server(serve, LOOPBACK, 0)
    server.port = listener.sockets[0].getsockname()[1]
    try:
        yield server, adapter
    finally:
        await adapter.aclose()
        listener.close()
        for task in list(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
