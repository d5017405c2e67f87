"""A session on its own: lines in, replies out, with wishes granted by a table."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import FarBusy, HeadraceError
from gateway.catalogue.model import Arg, Catalogue, GatewaySettings, LinesBody, Place, Source
from gateway.extract.plan import Field, Kind, Plan, Record, Sheet
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.wishes import Accepted, Granted, LoginWish, Outcome, PickWish, SourceWish, Wish
from gateway.wire.lines import Cancel, Data, Line, Pause
from gateway.wire.replies import Lines
from gateway.wire.settings import Settings

TIDES = Plan(fields=(Field("TIME", 5, Kind.TIME), Field("PLACE", 6), Field("HEIGHT", 5, Kind.FIXED)))
WIDE = Plan(fields=(Field("A", 200), Field("B", 54)))
SOURCES = {
    "TIDES": Source("TIDES", "https://far.example/", TIDES, about="High and low water, Höhe in metres"),
    "WIDE": Source("WIDE", "https://far.example/", WIDE),
    "ARGS": Source("ARGS", "https://far.example/", TIDES, args=(Arg("station"), Arg("day"))),
    "EMPTY": Source("EMPTY", "https://far.example/", TIDES),
    "FAILS": Source("FAILS", "https://far.example/", TIDES),
    "STALE": Source("STALE", "https://far.example/", TIDES),
    "LIMITED": Source("LIMITED", "https://far.example/", TIDES),
    "SCORE": Source("SCORE", "https://far.example/", TIDES, method="POST", args=(Arg("points"),)),
    "GUEST": Source("GUEST", "https://far.example/", TIDES, method="POST", body=LinesBody()),
}
RECORDS = (
    Record("04:12 Quay    3.90"),
    Record("10:27 Mole: A 1,25", cut=("PLACE",)),
    Record("16:40 Quay   *****", misfit=("HEIGHT",)),
)
PROFILES = {"PLAIN": Settings(), "NARROW": Settings(cols=20, most=80, page=1, guard=True)}


@dataclass
class Talk:
    """One connection. `say` gives the reply to one line as (status line, records), or None."""

    session: Session
    grant: Callable[[Wish], Granted]
    wishes: list[Wish] = field(default_factory=list)

    def raw(self, data: bytes) -> bytes:
        answer = b""
        self.session.reader.feed(data)
        while (event := self.session.reader.next_event()) is not None:
            if isinstance(event, Pause):
                continue
            lines = self.session.cancelled() if isinstance(event, Cancel) else self._run(event)
            answer += b"".join(lines or [])
        return answer

    def say(self, line: str) -> tuple[str, list[str]] | None:
        answer = self.raw(line.encode("latin-1") + b"\r")
        if not answer:
            return None
        status, *records = answer.decode("latin-1").removesuffix("\r\n").split("\r\n")
        assert len(status) == 16
        assert int(status[4:9]) == len(records)
        assert all(len(record) == int(status[10:13]) for record in records)
        return status, records

    def status(self, line: str) -> str:
        said = self.say(line)
        assert said is not None
        return said[0]

    def records(self, line: str) -> list[str]:
        said = self.say(line)
        assert said is not None
        return said[1]

    def _run(self, event: Line | Data) -> Lines | None:
        steps = self.session.respond(event)
        try:
            wish = next(steps)
            while True:
                self.wishes.append(wish)
                try:
                    wish = steps.send(self.grant(wish))
                except HeadraceError as error:
                    wish = steps.throw(error)
        except StopIteration as stop:
            lines: Lines | None = stop.value
            return lines


def granted(wish: Wish) -> Granted:
    if isinstance(wish, LoginWish):
        return Accepted(wish.member)
    assert isinstance(wish, SourceWish | PickWish)
    name = "PICK" if isinstance(wish, PickWish) else wish.source.name
    if name == "FAILS":
        fault = FarBusy(seconds=30)
        fault.far, fault.steps = "https://far.example:443, HTTP 503", (("answer", 0.02),)
        raise fault
    records = () if name == "EMPTY" else RECORDS
    steps = (("fetch", 0.0123), ("lay out", 0.0004))
    counts = ((("PLACE", 1),), (("HEIGHT", 1),)) if records else ((), ())
    sheet = Sheet(18, records, name == "LIMITED", *counts)
    return Outcome(sheet, "https://far.example", "fetched", 12.4, name == "STALE", steps)


def fresh_talk(profile: str = "PLAIN") -> Talk:
    """A new connection with that profile."""
    places = {"CLUB": Place("CLUB", "https://far.example/club/")}
    catalogue = Catalogue(
        sources=MappingProxyType(SOURCES),
        profiles=MappingProxyType(PROFILES),
        places=MappingProxyType(places),
        gateway=GatewaySettings(urls=("far.example",)),
    )
    world = World(lambda: catalogue, lambda: datetime(2026, 3, 29, 0, 59, 58, tzinfo=UTC))
    return Talk(Session(world, profile), granted)


@pytest.fixture
def talk() -> Talk:
    return fresh_talk()
