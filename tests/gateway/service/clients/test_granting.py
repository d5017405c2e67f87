"""A request that CAN abandons at the very moment at which it is granted (CONTRACT section 1)."""

import asyncio
import errno
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import FarBusy
from gateway.catalogue.model import Catalogue, Listener, Place
from gateway.service.clients.connection import Connection
from gateway.service.clients.granting import Granting
from gateway.service.server import Server
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.wishes import DataWish, DeliverWish, Granted, Staged, StageWish, Taken, Wish
from gateway.wire.lines import Line
from tests.gateway.service.clients.test_connection import SOURCES, outcome
from tests.gateway.service.gate import Staging
from tests.gateway.talking import replies

PLACES = MappingProxyType({"CLUB": Place("CLUB", "ftp://files.example/pub/", write=True)})


class Late:
    """Grants anything, or fails; CAN comes after that, but before the one who waits for it has his turn."""

    def __init__(self, failing: bool = False) -> None:
        self.failing = failing
        self.stagings: list[Staging] = []
        self.line: Connection | None = None

    def now(self, wish: Wish) -> Granted | None:
        return None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        assert self.line is not None
        asyncio.get_running_loop().call_soon(self.line.data_received, b"\x18NOOP behind\rBYE\r")
        if self.failing:
            raise FarBusy(seconds=7)
        if isinstance(wish, StageWish):
            self.stagings.append(Staging())
            return Staged(self.stagings[-1])
        return outcome(20_000)


async def talk_late(late: Late, request: bytes) -> bytes:
    """What comes for `request`, and for what is behind the CAN."""
    catalogue = Catalogue(listeners=(Listener(port=0),), sources=SOURCES, places=PLACES)
    server = Server(catalogue, lambda _: late)
    bound = (await server.start())[0]
    try:
        reader, writer = await asyncio.open_connection(bound.host, bound.port)
        writer.write(b"NOOP\r")
        await reader.readexactly(18)
        (line,) = server._connections
        assert isinstance(line, Connection)
        late.line = line
        writer.write(request)
        found = await asyncio.wait_for(reader.read(), 5)
        writer.close()
        return found
    finally:
        await server.stop()


@pytest.mark.parametrize("failing", [False, True])
@pytest.mark.parametrize("settings", [b"", b"SET pace=100000\r"])
async def test_cancel_just_before_the_reply_leaves_none(failing: bool, settings: bytes) -> None:
    found = replies(await talk_late(Late(failing), settings + b"ASK long\r"))
    assert [status[:9] for status, _ in found[-2:]] == ["200 00001", "221 00000"]
    assert found[-2][1][0].startswith(b"behind")
    assert len(found) == (3 if settings else 2)


async def test_cancel_just_after_a_store_was_begun_leaves_nothing_of_it() -> None:
    late = Late()
    found = replies(await talk_late(late, b"STORE club:notes.txt\r"))
    assert [status[:3] for status, _ in found] == ["200", "221"]
    assert [each.dropped for each in late.stagings] == [True]


class Refuses:
    """Takes in, and fails before a delivery is anybody's."""

    def __init__(self, fault: Exception) -> None:
        self.fault = fault
        self.staging = Staging()

    def now(self, wish: Wish) -> Granted | None:
        return Taken() if isinstance(wish, DataWish) else None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        if isinstance(wish, StageWish):
            return Staged(self.staging)
        assert isinstance(wish, DeliverWish)
        raise self.fault


@pytest.mark.parametrize(
    "fault", [FarBusy(seconds=7), RuntimeError("can't start new thread"), OSError(errno.EIO, "made to fail")]
)
async def test_what_was_taken_in_goes_with_a_delivery_that_never_began(fault: Exception) -> None:
    answers = Refuses(fault)
    catalogue = Catalogue(listeners=(Listener(port=0),), places=PLACES)
    session = Session(World(lambda: catalogue, lambda: datetime.now(UTC)), "PLAIN")
    granting = Granting(answers)
    for line in (b"STORE club:notes.txt", b">one", b"."):
        session.reader.feed(line + b"\r")
        event = session.reader.next_event()
        assert isinstance(event, Line)
        lines = await granting.reply(session, event, 5)
    assert lines is not None
    assert b"".join(lines)[:3] in {b"450", b"558"}
    assert answers.staging.dropped
