"""Stands for the contract suite: a fresh folder of a real server for each test; an adapter that counts."""

import itertools
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

from adapters.dav.adapter import DavAdapter
from adapters.files import Target
from adapters.http.link.streams import open_stream
from adapters.port import Reach
from tests.adapters.file_contract import DiskStand, FarFileStand
from tests.adapters.http.servers import LOOPBACK, free_port
from tests.adapters.web_servers import WebServer

_numbers = itertools.count()


class DavStand(DiskStand, FarFileStand):
    """A folder of a running server."""

    def __init__(self, server: WebServer, takes: Callable[[bytes], bool], closed_port: int) -> None:
        name = f"stand {next(_numbers)}"
        self.folder = server.folder / name
        self.folder.mkdir()
        self.folder.chmod(0o777)
        self.private = (str(server.folder),)
        self._server = server
        self._takes = takes
        self._closed_port = closed_port
        self._dialled = 0
        self.adapter = DavAdapter(connect=self._connect)
        root = f"{server.dav_url}/{name.replace(' ', '%20')}/"
        self.root = Target(root, root, ca=server.ca, reach=server.reach)

    async def _connect(self, *address: Any, **options: Any) -> Any:
        self._dialled += 1
        return await open_stream(*address, **options)

    def takes(self, name: bytes) -> bool:
        return self._takes(name)

    def contacts(self) -> int:
        return self._dialled

    def nobody(self) -> Target:
        url = f"{self.root.url.partition('://')[0]}://{LOOPBACK}:{self._closed_port}/x/"
        return replace(self.root, url=url, root=url, reach=Reach(frozenset({(LOOPBACK, self._closed_port)})))


@asynccontextmanager
async def stand_of(server: WebServer, takes: Callable[[bytes], bool]) -> AsyncIterator[DavStand]:
    """A stand for one test."""
    stand = DavStand(server, takes, await free_port())
    yield stand
    await stand.adapter.aclose()


def any_name(name: bytes) -> bool:
    """What a disk takes."""
    return b"\0" not in name


def text_name(name: bytes) -> bool:
    """What is text in UTF-8."""
    try:
        name.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return any_name(name)


def shown_name(name: bytes) -> bool:
    """What a server shows that hides names beginning with a dot."""
    return any_name(name) and not name.startswith(b".")


def clean_name(name: bytes) -> bool:
    """What is text in UTF-8 without control characters."""
    return text_name(name) and all(each >= 0x20 and each != 0x7F for each in name)
