"""Web servers of the trade as stands of the file contract: each a process over a folder on this disk."""

import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractContextManager, asynccontextmanager, contextmanager
from dataclasses import replace
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import httpcore

from adapters.addresses import Address
from adapters.files import Target
from adapters.http.adapter import HttpAdapter
from adapters.http.link.streams import open_stream
from tests.adapters.file_contract import DiskStand, FarFileStand
from tests.adapters.http.servers import LOOPBACK, free_port
from tests.adapters.web_servers import WebServer, served_folder

Start = Callable[[Path], AbstractContextManager[WebServer]]


class WebStand(DiskStand, FarFileStand):
    """Any of those servers, with the index pages that it makes."""

    def __init__(self, server: WebServer, nobody: int) -> None:
        self.folder = server.folder
        self._nobody = nobody
        self._dials = 0
        self.adapter = HttpAdapter(connect=self._connect)
        self.root = Target(server.url + "/", server.url + "/", ca=server.ca, reach=server.reach, index="html")
        self.private = (str(server.folder),)

    async def _connect(self, address: Address, port: int) -> httpcore.AsyncNetworkStream:
        self._dials += 1
        return await open_stream(address, port)

    def contacts(self) -> int:
        return self._dials

    def nobody(self) -> Target:
        url = f"{self.root.url.partition(':')[0]}://{LOOPBACK}:{self._nobody}/"
        named = self.root.reach.named | {(LOOPBACK, self._nobody)}
        return replace(self.root, url=url, root=url, reach=replace(self.root.reach, named=frozenset(named)))


class DotlessStand(WebStand):
    """Index pages that leave out names which begin with a dot."""

    def takes(self, name: bytes) -> bool:
        return not name.startswith(b".") and _stays(name)


class TextStand(WebStand):
    """A server that takes names in UTF-8 only, without control characters, and rounds sizes in its pages."""

    sizes = False

    def takes(self, name: bytes) -> bool:
        try:
            text = name.decode("utf-8")
        except UnicodeDecodeError:
            return False
        return _stays(name) and not any(each < " " or each == "\x7f" for each in text)


def _stays(name: bytes) -> bool:
    """Whether no server could take a part of it for a folder or the one above."""
    return {b".", b".."}.isdisjoint(name.replace(b"\\", b"/").split(b"/"))


@asynccontextmanager
async def web_stand(start: Start, kind: type[WebStand] = WebStand) -> AsyncIterator[WebStand]:
    """A server over an empty folder, and an adapter for it."""
    nobody = await free_port()
    with served_folder() as folder, start(folder) as server:
        stand = kind(server, nobody)
        try:
            yield stand
        finally:
            await stand.adapter.aclose()


class _Quiet(SimpleHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, *_: object) -> None:
        """Nothing."""


class _Patient(ThreadingHTTPServer):
    request_queue_size = 256
    daemon_threads = True

    def handle_error(self, *_: object) -> None:
        """Nothing: readers leave early."""


@contextmanager
def python_server(folder: Path) -> Iterator[WebServer]:
    """Python's http.server: index pages as lists, HEAD, no ranges, nothing that changes."""
    with _Patient((LOOPBACK, 0), partial(_Quiet, directory=str(folder))) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        port = server.server_address[1]
        yield WebServer(f"http://{LOOPBACK}:{port}", port, folder, 0)
        server.shutdown()
        thread.join()
