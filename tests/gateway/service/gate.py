"""A gateway on loopback whose far servers are a table, and lines to it that can be lost."""

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Self

import pytest

from adapters.errors import MayBeDone, NotThere
from gateway.catalogue.access import Member
from gateway.catalogue.model import Catalogue, GatewaySettings, Listener, Place, Source
from gateway.extract.plan import Field, Plan, Record, Sheet
from gateway.service.server import Server
from gateway.session.wishes import (
    DataWish,
    DeliverWish,
    Done,
    Granted,
    Outcome,
    SourceWish,
    Staged,
    StageWish,
    Taken,
    Wish,
)
from gateway.wire.ready import READY
from gateway.wire.settings import Settings, change
from tests.gateway.service.clients.test_connection import cut

_PATIENCE = 20.0
"""Seconds for one reply, which is slow where other tests have the processor."""
PLAN = Plan(fields=(Field("N", 8),))
NAMES = ("TEN", "LONG", "SLOW", "GONE")
SOURCES = MappingProxyType(
    {
        **{name: Source(name, "https://far.example/", PLAN) for name in NAMES},
        "VOTE": Source("VOTE", "https://far.example/", PLAN, method="POST"),
    }
)
PROFILES = MappingProxyType(
    {
        "PLAIN": Settings(),
        **{name: each.settings for name, each in READY.items()},
        "SEVEN": change(Settings(), [("bits", "7")]),
        "PAGED": change(Settings(), [("check", "crc"), ("window", "4"), ("page", "3"), ("cols", "24")]),
        "PACED": change(Settings(), [("pace", "100")]),
        "LATIN": change(Settings(), [("charset", "latin1")]),
    }
)
NOBODY: Mapping[str, Member] = MappingProxyType({})
RESUMING = Listener(port=0, resume=True)


def outcome(count: int) -> Outcome:
    records = tuple(Record(f"{number:08}") for number in range(1, count + 1))
    return Outcome(Sheet(8, records), "https://far.example", "fetched", 0.0, False, ())


class Staging:
    """What is taken in of a STORE."""

    def __init__(self) -> None:
        self.dropped = False

    def drop(self) -> None:
        self.dropped = True


class World:
    """Grants wishes; those that take time wait for `release`."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.cancelled = 0
        self.begun = asyncio.Event()
        self.release = asyncio.Event()
        self.stagings: list[Staging] = []
        self.delivered = 0

    def now(self, wish: Wish) -> Granted | None:
        if isinstance(wish, SourceWish) and wish.source.name in {"TEN", "LONG"}:
            self.asked.append(wish.source.name)
            return outcome(10 if wish.source.name == "TEN" else 20_000)
        if isinstance(wish, StageWish):
            self.stagings.append(Staging())
            return Staged(self.stagings[-1])
        return Taken() if isinstance(wish, DataWish) else None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        self.begun.set()
        try:
            async with asyncio.timeout(seconds):
                await self.release.wait()
        except asyncio.CancelledError:
            self.cancelled += 1
            raise
        if isinstance(wish, DeliverWish):
            self.delivered += 1
            return Done(250, lambda: ())
        assert isinstance(wish, SourceWish)
        self.asked.append(wish.source.name)
        if wish.source.name == "GONE":
            raise NotThere("Nothing there")
        if wish.source.name == "VOTE":
            raise MayBeDone
        return outcome(3)


@dataclass(slots=True)
class Gate:
    """A gateway and what is behind it."""

    server: Server
    world: World
    ports: tuple[int, ...]

    def call(self, number: int = 0, source: str = "127.0.0.1") -> "Line":
        return Line(self.ports[number], source)

    async def until(self, true: Callable[[], bool]) -> None:
        """Wait for what must come about."""
        for _ in range(1_000):
            if true():
                return
            await asyncio.sleep(0.005)
        pytest.fail("it did not come about")


@asynccontextmanager
async def gate(
    *listeners: Listener, members: Mapping[str, Member] = NOBODY, **settings: float
) -> AsyncIterator[Gate]:
    world = World()
    catalogue = Catalogue(
        gateway=replace(GatewaySettings(), **settings),  # type: ignore[arg-type]
        listeners=listeners or (RESUMING,),
        sources=SOURCES,
        profiles=PROFILES,
        members=members,
        places=MappingProxyType({"CLUB": Place("CLUB", "ftp://files.example/pub/", write=True)}),
    )
    server = Server(catalogue, lambda _: world)
    bound = await server.start()
    try:
        yield Gate(server, world, tuple(each.port for each in bound))
    finally:
        await asyncio.wait_for(server.stop(), 10)


class Line:
    """One connection of a client. Replies are read as the contract says: by count and width."""

    def __init__(self, port: int, source: str = "127.0.0.1") -> None:
        self._port, self._source = port, source

    async def __aenter__(self) -> Self:
        self.reader, self.writer = await asyncio.open_connection(
            "127.0.0.1", self._port, local_addr=(self._source, 0), limit=2_048
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        self.writer.close()
        await asyncio.sleep(0)

    async def say(self, data: bytes, check: int = 0) -> bytes:
        """Send, and read one reply whole."""
        self.writer.write(data)
        return await self.reply(check)

    async def lines(self, count: int) -> bytes:
        return b"".join(
            [await asyncio.wait_for(self.reader.readuntil(b"\r\n"), _PATIENCE) for _ in range(count)]
        )

    async def reply(self, check: int = 0) -> bytes:
        status = await asyncio.wait_for(self.reader.readexactly(18 + check), _PATIENCE)
        count, width = int(status[4:9]), int(status[10:13])
        return status + await asyncio.wait_for(self.reader.readexactly(count * (width + 2)), _PATIENCE)

    def cut(self) -> None:
        cut(self.writer)

    def end(self) -> None:
        self.writer.close()

    def leave(self) -> None:
        """Nothing: the line is dead, and nobody has told the gateway."""


def checked(text: bytes) -> bytes:
    """With CRC-16/XMODEM bit by bit, as the parameter set is defined: polynomial 1021h, from 0."""
    crc = 0
    for byte in text:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return text + b" *%04X\r" % crc


NO_PAGE = b"503 00001 040 ..\r\nNo page to repeat                       \r\n"
TEN = b"200 00010 008 ..\r\n" + b"".join(b"%08d\r\n" % number for number in range(1, 11))
LOSSES = {"reset": Line.cut, "closed": Line.end, "silent": Line.leave}
losing = pytest.mark.parametrize("lose", LOSSES.values(), ids=LOSSES.keys())
CHECKED = b"SET check=crc window=4\r"
