"""Adapters as somebody else may bring them by entry point: `cupboard` has documents, `Bell` only fetches.

They dial an address as any of them would, so that a test without a network notices them. A catalogue knows
the schemes of addresses.SCHEMES and no others, which are all built in: for these two they are widened.
"""

import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from importlib.metadata import EntryPoint

import pytest

from adapters import registry
from adapters.errors import ChangedMeanwhile, HeadraceError, NotPossible, NotThere, WrongDocument
from adapters.files import (
    A_DOCUMENT,
    A_FOLDER,
    ALREADY_THERE,
    NO_FOLDER,
    NOT_EMPTY,
    Ability,
    Condition,
    Entry,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Was,
    Written,
)
from adapters.port import Call, Fetched
from adapters.registry import BUILT_IN, ENTRY_POINT_GROUP, Registry
from gateway.catalogue.calling import addresses
from gateway.catalogue.keys.key import SCHEMES
from gateway.commands import wiring

ORIGIN = "cupboard://shelf.example:7"
ROOT = f"{ORIGIN}/"
CONTENTS: dict[str, bytes | None] = {ROOT: None}
"""URL -> a document's bytes; a folder's, with a slash at its end, has None."""


@contextmanager
def joined() -> Iterator[None]:
    """Both are installed meanwhile, and the cupboard is empty at first."""
    CONTENTS.clear()
    CONTENTS[ROOT] = None
    found = [
        EntryPoint(scheme, f"tests.recorded.third_party:{name}", ENTRY_POINT_GROUP)
        for scheme, name in (("cupboard", "Cupboard"), ("bell", "Bell"))
    ]
    schemes = Registry(BUILT_IN, found)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(registry, "SCHEMES", schemes)
        patch.setattr(wiring, "SCHEMES", schemes)
        patch.setattr(addresses, "SCHEMES", (*SCHEMES, "cupboard", "bell"))
        yield


def _dial() -> None:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        with socket.create_connection(listener.getsockname()):
            pass


def _told(fault: HeadraceError) -> HeadraceError:
    """The error with where it was, as adapters.files wants it."""
    fault.far = ORIGIN
    return fault


class Bell:
    """Fetches `bell://tower.example:7/N`: N strokes, as JSON."""

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """The strokes of an hour."""
        _dial()
        hour = int(call.url.rpartition("/")[2])
        if hour > 12:
            raise NotThere
        strokes = ", ".join(f'{{"n": {number}}}' for number in range(1, hour + 1))
        return Fetched(f"[{strokes}]".encode(), "application/json", origin="bell://tower.example:7")

    async def aclose(self) -> None:
        """Nothing is open."""


class Cupboard(FileAdapter):
    """A tree in memory."""

    can = ~Ability.NONE

    async def list(self, target: Target, seconds: float) -> Listing:
        _dial()
        folder = f"{target.url.rstrip('/')}/"
        if folder not in CONTENTS:
            raise _told(WrongDocument(A_DOCUMENT) if target.url in CONTENTS else NotThere())
        entries = tuple(
            Entry(
                name=Target(url, ROOT).name,
                kind=Kind.FOLDER if body is None else Kind.FILE,
                size=None if body is None else len(body),
            )
            for url, body in CONTENTS.items()
            if url != folder and url.startswith(folder) and "/" not in url[len(folder) :].rstrip("/")
        )
        return Listing(entries, origin=ORIGIN)

    async def stat(self, target: Target, seconds: float) -> Stat:
        _dial()
        return self._stat(target)

    def _stat(self, target: Target) -> Stat:
        if f"{target.url.rstrip('/')}/" in CONTENTS:
            return Stat(Kind.FOLDER, origin=ORIGIN)
        body = CONTENTS.get(target.url)
        if body is None:
            raise _told(NotThere())
        return Stat(Kind.FILE, len(body), origin=ORIGIN)

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        _dial()
        stat = self._stat(target)
        body = CONTENTS.get(target.url)
        if body is None:
            raise _told(WrongDocument(A_FOLDER))

        async def chunks() -> AsyncIterator[bytes]:
            wanted = body[offset : None if count is None else offset + count]
            for start in range(0, len(wanted), 50):
                yield wanted[start : start + 50]

        yield Reading(chunks(), offset, len(body), stat)

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        _dial()
        self._refuse(target, condition)
        body = b"".join([chunk async for chunk in upload.chunks()])
        CONTENTS[target.url] = body
        return Written(len(body), "size")

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        _dial()
        self._refuse(target, condition)
        body = b"".join([chunk async for chunk in upload.chunks()])
        CONTENTS[target.url] = (CONTENTS.get(target.url) or b"") + body
        return Written(len(body), "size")

    def _refuse(self, target: Target, condition: Condition) -> None:
        if f"{target.url.rstrip('/')}/" in CONTENTS:
            raise _told(WrongDocument(A_FOLDER))
        if condition is Was.NOTHING and target.url in CONTENTS:
            raise _told(ChangedMeanwhile(ALREADY_THERE))
        self._in_a_folder(target)

    def _in_a_folder(self, target: Target) -> None:
        if f"{target.url.rstrip('/').rpartition('/')[0]}/" not in CONTENTS:
            raise _told(NotThere(NO_FOLDER))

    async def erase(self, target: Target, seconds: float) -> None:
        _dial()
        if self._stat(target).kind is Kind.FILE:
            del CONTENTS[target.url]
            return
        if (await self.list(target, seconds)).entries:
            raise _told(NotPossible(NOT_EMPTY))
        del CONTENTS[f"{target.url.rstrip('/')}/"]

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        _dial()
        self._stat(target)
        if to.url in CONTENTS:
            raise _told(ChangedMeanwhile(ALREADY_THERE))
        CONTENTS[to.url] = CONTENTS.pop(target.url)

    async def make_folder(self, target: Target, seconds: float) -> None:
        _dial()
        if target.url.rstrip("/") in CONTENTS or f"{target.url.rstrip('/')}/" in CONTENTS:
            raise _told(ChangedMeanwhile(ALREADY_THERE))
        self._in_a_folder(target)
        CONTENTS[f"{target.url.rstrip('/')}/"] = None

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        _dial()
        stat = self._stat(target)
        CONTENTS[to.url] = CONTENTS[target.url]
        return Written(stat.size, "size")
