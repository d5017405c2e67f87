"""A request that CAN abandons at the very moment at which it is granted (CONTRACT section 1)."""

import asyncio
import errno
from collections.abc import Callable
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import FarBusy, HeadraceError
from gateway.catalogue.model import Catalogue, Listener, Place
from gateway.service.clients.connection import Connection
from gateway.service.clients.granting import Granting, let_go
from gateway.service.server import Server
from gateway.service.streams.calls import Call
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.steps import Asking
from gateway.session.wishes import (
    Called,
    DataWish,
    DeliverWish,
    Granted,
    Provenance,
    Staged,
    StageWish,
    Taken,
    Wish,
)
from gateway.wire.lines import Data, End, Line
from gateway.wire.replies import Lines
from tests.gateway.service.clients.test_connection import SOURCES, outcome
from tests.gateway.service.gate import Staging
from tests.gateway.service.modems.test_wires import Far
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
        (line,) = server.admission.here
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


LINE = Line(b"NOOP", End.CR, "cr")


class Steps(Session):
    """A session of one request, whose steps are given."""

    def __init__(self, steps: Callable[[], Asking[Lines | None]]) -> None:
        super().__init__(World(Catalogue, lambda: datetime.now(UTC)), "PLAIN")
        self.steps = steps

    def respond(self, event: Line | Data) -> Asking[Lines | None]:
        return self.steps()


@pytest.mark.parametrize("fault", [FarBusy(seconds=7), RuntimeError("made to fail")])
async def test_steps_may_go_on_after_a_failure(fault: Exception) -> None:
    """As a counter does, which tells it and waits for the next command."""

    def steps() -> Asking[Lines | None]:
        try:
            yield DeliverWish(Staging())
        except HeadraceError as error:
            assert error.code == (450 if isinstance(fault, FarBusy) else 558)
            yield DataWish(Staging(), b"told")
        return iter((b"gone on",))

    lines = await Granting(Refuses(fault)).reply(Steps(steps), LINE, 5)
    assert lines is not None
    assert list(lines) == [b"gone on"]


async def test_steps_that_fail_get_a_reply_all_the_same(caplog: pytest.LogCaptureFixture) -> None:
    def steps() -> Asking[Lines | None]:
        yield DataWish(Staging(), b"")
        raise ZeroDivisionError

    lines = await Granting(Refuses(FarBusy())).reply(Steps(steps), LINE, 5)
    assert lines is not None
    assert b"".join(lines).startswith(b"451 00001 ")
    assert "ZeroDivisionError" in caplog.text


async def test_a_call_that_comes_about_when_nobody_waits_for_it_is_over() -> None:
    async def comes() -> Granted:
        return Called(Call(far), Provenance("tcp://far.example:7", "stream"))

    far = Far()
    request = asyncio.create_task(comes())
    await request
    let_go(request)
    assert far.aborted
