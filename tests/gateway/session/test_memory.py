"""What all sessions keep: who forgets, what is told then, how near the estimates are (CONTRACT section 3)."""

import asyncio
import gc
import socket
import tracemalloc
import weakref
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

import pytest

from adapters import limits
from adapters.errors import FarFault, NoRoom
from adapters.files import Entry, Kind, Stat
from gateway.catalogue.model import Listener
from gateway.extract.plan import Record, Sheet
from gateway.session.conversation import Session
from gateway.session.memory import Memory, Weights
from gateway.session.state import World
from gateway.session.wishes import (
    Granted,
    Outcome,
    Part,
    PickWish,
    Provenance,
    ReadWish,
    Texted,
    TextWish,
    Wish,
)
from tests.gateway.service.gate import Line, gate
from tests.gateway.session.conftest import Talk
from tests.gateway.session.counter.clients import Client
from tests.gateway.session.files.far import CLUB, Far, catalogue

PAGE = "https://open.example/a/page/{}.html"
BIG = limits.KEPT_LITTLE_BYTES


@dataclass(eq=False)
class One:
    """A keeper of so many bytes."""

    size: int
    busy: bool = False
    thing: object = field(default_factory=object)

    @property
    def kept(self) -> Weights:
        return ((self.thing, self.size),) if self.size else ()

    def forget(self) -> None:
        self.size = 0


@pytest.fixture
def memory(monkeypatch: pytest.MonkeyPatch) -> Memory:
    monkeypatch.setattr(limits, "KEPT_BYTES", 10 * BIG)
    return Memory()


def test_whoever_was_used_longest_ago_forgets_first(memory: Memory) -> None:
    first, second, third = One(4 * BIG), One(4 * BIG), One(4 * BIG)
    memory.used(first)
    memory.used(second)
    memory.used(first)
    memory.used(third)
    assert (first.size, second.size, third.size) == (4 * BIG, 0, 4 * BIG)
    assert memory.size == 8 * BIG


def test_one_that_is_being_served_is_passed_over(memory: Memory) -> None:
    first, second, third = One(4 * BIG, busy=True), One(4 * BIG), One(4 * BIG)
    for each in (first, second, third):
        memory.used(each)
    assert (first.size, second.size, third.size) == (4 * BIG, 0, 4 * BIG)


def test_there_is_no_room_where_all_are_being_served(memory: Memory) -> None:
    here, late = One(8 * BIG, busy=True), One(4 * BIG)
    memory.used(here)
    with pytest.raises(NoRoom):
        memory.used(late)
    assert (here.size, late.size, memory.size) == (8 * BIG, 0, 8 * BIG)
    memory.used(here)  # who adds nothing is never refused


def test_what_several_share_counts_once(memory: Memory) -> None:
    sheet = object()
    sharing = [One(9 * BIG, thing=sheet) for _ in range(50)]
    for each in sharing:
        memory.used(each)
    assert all(each.size for each in sharing)
    assert memory.size == 9 * BIG


def test_who_keeps_little_is_not_looked_at_and_who_is_gone_keeps_nothing(memory: Memory) -> None:
    little, big = One(BIG - 1), One(BIG)
    memory.used(little)
    memory.used(big)
    assert memory.size == BIG
    big.size = 7
    memory.used(big)  # its next reply was a short one
    assert memory.size == 0
    big.size = BIG
    memory.used(big)
    del big
    assert memory.size == 0


# Sessions

FROM = Provenance("https://open.example", "fetched")


def answer(wish: Wish) -> Granted:
    """Long answers, made anew each time as a far server's are."""
    match wish:
        case PickWish():
            records = tuple(Record(f"{number:018}") for number in range(2_000))
            return Outcome(Sheet(18, records), "here", "fetched", 1, False, ())
        case TextWish():
            lines = [Record(f"{number:040}") for number in range(4_000)]
            return Texted(
                lines, tuple(f"https://open.example/a/page/{each}.html" for each in range(2_000)), False, FROM
            )
        case ReadWish(_, offset, count):
            data = bytes(range(256)) * 800
            part = data[offset : offset + count]
            return Part(part, len(data), offset + count >= len(data), Stat(Kind.FILE), FROM)
    return Far(listings={CLUB: boats()}).grant(wish)


def boats() -> list[Entry]:
    """A long folder."""
    return [Entry(b"picture-of-the-boat-%04d.jpg" % number, Kind.FILE, number) for number in range(2_000)]


REQUESTS = {
    "PICK": "PICK https://open.example/ $",
    "LIST": "LIST club:",
    "TEXT": "TEXT https://open.example/",
    "READ": "READ https://open.example/",
}
asked = pytest.mark.parametrize("request_", REQUESTS.values(), ids=REQUESTS.keys())


@pytest.fixture
def world() -> World:
    return World(catalogue, lambda: datetime(2026, 3, 29, tzinfo=UTC))


def talk_in(world: World, grant: Callable[[Wish], Granted] = answer) -> Talk:
    return Talk(Session(world, "PLAIN"), grant)


@asked
def test_what_is_counted_is_near_what_is_taken(world: World, request_: str) -> None:
    """As Python's own tracemalloc measures it."""
    talk = talk_in(world)
    assert talk.status(request_).startswith("200")
    talk.status("TIME")
    gc.collect()
    tracemalloc.start()
    try:
        talk.raw(f"{request_}\r".encode())
        talk.wishes.clear()
        gc.collect()
        taken, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert 0.6 < world.memory.size / taken < 1.7


@asked
def test_a_session_that_others_took_the_memory_of_says_so(
    world: World, request_: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = talk_in(world), talk_in(world)
    first.status("SET page=2")
    first.status(request_)
    monkeypatch.setattr(limits, "KEPT_BYTES", world.memory.size + BIG)
    second.status(request_)
    for line in ("MORE", "AGAIN", "AGAIN 1"):
        assert first.say(line) == ("503 00001 040 ..", ["No longer kept; ask again".ljust(40)]), line
    if request_.startswith("LIST"):
        assert first.say("TEXT #3") == ("503 00001 040 ..", ["No longer kept; LIST again".ljust(40)])
    assert first.status(request_).startswith("200 00002")
    assert first.status("MORE").startswith("200 00002")


def test_why_still_tells_where_it_came_from(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = talk_in(world), talk_in(world)
    first.status(REQUESTS["PICK"])
    monkeypatch.setattr(limits, "KEPT_BYTES", world.memory.size + BIG)
    second.status(REQUESTS["PICK"])
    assert any("here, fetched" in each for each in first.records("WHY"))


def test_a_reply_that_waits_in_a_window_is_kept(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = talk_in(world), talk_in(world)
    first.status("SET window=2")
    first.raw(f"{REQUESTS['PICK']}\r".encode())
    first.raw(b"\r")
    monkeypatch.setattr(limits, "KEPT_BYTES", world.memory.size + BIG)
    told = "Too much is being read; try later".ljust(40)
    assert second.say(REQUESTS["PICK"]) == ("452 00001 040 ..", [told])
    assert second.say("MORE") == ("503 00001 040 ..", ["No longer kept; ask again".ljust(40)])
    assert first.raw(b"\r").startswith(b"%018d" % 3)


def test_a_caller_at_a_counter_counts_and_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    far = Far(listings={CLUB: boats()})
    monkeypatch.setattr(limits, "KEPT_BYTES", 500_000)
    client = Client(far)
    told = client.ask("list")
    assert told == ["Too much is being read; try later"]
    monkeypatch.undo()
    assert len(client.ask("list")) == 2_000


def test_an_error_that_why_can_tell_keeps_nothing_of_the_work_alive(world: World) -> None:
    class Document:
        """What the work had in hand."""

    seen: list[weakref.ref[Document]] = []

    def fail(wish: Wish) -> Granted:
        document = Document()
        seen.append(weakref.ref(document))
        fault = FarFault("It went wrong")
        fault.far = "https://open.example, HTTP 500"
        raise fault

    talk = talk_in(world, fail)
    assert talk.status(REQUESTS["PICK"]).startswith("450")
    gc.collect()
    assert seen[0]() is None
    assert any("HTTP 500" in each for each in talk.records("WHY"))


# A whole gateway


async def test_a_slow_reader_keeps_its_reply_and_others_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """20,000 records on their way to a client that does not read yet."""
    monkeypatch.setattr(limits, "KEPT_BYTES", 4 << 20)
    async with gate(Listener(port=0)) as house:
        slow = socket.socket()
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
        slow.setblocking(False)
        await asyncio.get_running_loop().sock_connect(slow, ("127.0.0.1", house.ports[0]))
        reader, writer = await asyncio.open_connection(sock=slow, limit=2_048)
        writer.write(b"ASK LONG\r")
        status = await asyncio.wait_for(reader.readexactly(18), 5)
        assert status == b"200 20000 008 ..\r\n"
        async with house.call() as other:
            assert (await other.say(b"ASK LONG\r")).startswith(b"452 00001 040")
            rest = await asyncio.wait_for(reader.readexactly(20_000 * 10), 20)
            assert rest.endswith(b"%08d\r\n" % 20_000)
            assert (await other.say(b"ASK LONG\r")).startswith(b"200 20000")
            line = Line(house.ports[0])
            line.reader, line.writer = reader, writer
            assert b"No longer kept" in await line.say(b"AGAIN 3\r")
            assert house.server.kept > 2_000_000
        writer.close()
        await house.until(lambda: house.server.kept == 0)
