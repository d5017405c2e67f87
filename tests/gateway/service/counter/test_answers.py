"""Wishes for a counter, and all others."""

from collections.abc import Sequence
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import NotPossible, NotThere
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, Handshake, Place, SerialDevice
from gateway.service.counter.answers import CounterAnswers
from gateway.service.counter.call import CounterCall
from gateway.service.streams.tally import Tally
from gateway.session.state import World
from gateway.session.wishes import Called, CounterWish, Granted, ListWish, Taken, Wish
from gateway.wire.settings import Settings

CLUB = Place("CLUB", "ftp://far.example:2121/pub/", write=True)
SHELF = Place("SHELF", "file:///srv/shelf/")
CATALOGUE = Catalogue(places=MappingProxyType({"CLUB": CLUB, "SHELF": SHELF}))
SETTINGS = Settings(eol="crlf", echo=True)


class Others:
    """Grants everything with the same thing."""

    def now(self, wish: Wish) -> Granted | None:
        return Taken()

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        return Taken()


def answers(device: SerialDevice | None = None) -> CounterAnswers:
    world = World(lambda: CATALOGUE, lambda: datetime(2026, 5, 17, tzinfo=UTC))
    return CounterAnswers(Others(), world, device, Tally())


def root(place: Place) -> Ref:
    return Ref(place.base, place)


@pytest.mark.parametrize(
    ("place", "origin"), [(CLUB, "ftp://far.example:2121"), (SHELF, "this gateway's disk")]
)
async def test_a_counter(place: Place, origin: str) -> None:
    called = await answers().answer(CounterWish(root(place), SETTINGS), 1)
    assert isinstance(called, Called)
    assert (called.provenance.origin, called.provenance.how) == (origin, "its counter")
    assert isinstance(called.call, CounterCall)
    assert (await called.call.hear() or b"").startswith(b"This is " + place.name.encode())
    called.call.drop()


async def test_other_wishes_are_for_the_others() -> None:
    assert answers().now(ListWish(root(CLUB))) == Taken()
    assert await answers().answer(ListWish(root(CLUB)), 1) == Taken()


@pytest.mark.parametrize(
    ("ref", "error"),
    [
        (Ref("http://typed.example/"), NotPossible),
        (Ref("http://old.example/", Place("GONE", "http://old.example/")), NotThere),
    ],
)
async def test_no_counter(ref: Ref, error: type[Exception]) -> None:
    with pytest.raises(error):
        answers().now(CounterWish(ref, SETTINGS))


async def heard(call: CounterCall) -> str:
    text = b""
    while not text.endswith(b"> "):
        text += await call.hear() or b""
    return text.decode()


@pytest.mark.parametrize(
    ("device", "lines"),
    [
        (SerialDevice("/dev/ttyS0", bits=7), ["This line has 7 bits; a transfer needs 8"]),
        (
            SerialDevice("/dev/ttyS0", handshake=Handshake.XONXOFF),
            ["This line keeps 11h and 13h for itself;", "a transfer needs every byte"],
        ),
    ],
)
async def test_a_device_that_keeps_bytes_for_itself(device: SerialDevice, lines: Sequence[str]) -> None:
    called = answers(device).now(CounterWish(root(CLUB), SETTINGS))
    assert isinstance(called, Called)
    assert isinstance(called.call, CounterCall)
    await heard(called.call)
    await called.call.say(b"STORE\r")
    told = await heard(called.call)
    assert told.split("\r\n") == ["STORE", *lines, "> "]
    called.call.drop()
