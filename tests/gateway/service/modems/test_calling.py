"""What was dialled, and what it means."""

from collections.abc import Sequence
from types import MappingProxyType

import pytest

from adapters.errors import CannotConnect, GatewayFull, HeadraceError, NotAllowed, NotThere, TooSlow
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, GatewaySettings, Place
from gateway.modem.effects import Dial
from gateway.modem.results import Failure
from gateway.service.modems.calling import Asking, called, dialled, failure_of
from gateway.session.wishes import Called, CallWish, CounterWish, Granted, Provenance, Wish
from gateway.wire.settings import Settings

CATALOGUE = Catalogue(
    gateway=GatewaySettings(urls=("typed.example",)),
    places=MappingProxyType(
        {
            "BOARD": Place("BOARD", "telnet://board.example"),
            "W3": Place("W3", "tcp://w3.example:7"),
            "WEB": Place("WEB", "http://web.example/"),
        }
    ),
    phones=MappingProxyType({"5550100": "BOARD"}),
)


@pytest.mark.parametrize(
    ("dial", "url"),
    [
        (Dial("board"), "telnet://board.example"),
        (Dial("Board:"), "telnet://board.example"),
        (Dial("555-0100", "5550100"), "telnet://board.example"),
        (Dial("W3", "3"), "tcp://w3.example:7"),
        (Dial("web"), "http://web.example/"),  # its counter
        (Dial("typed.example:6400"), "tcp://typed.example:6400"),
        (Dial("typed.example:23"), "telnet://typed.example"),
        (Dial("tls://typed.example:992"), "tls://typed.example:992"),
    ],
)
def test_what_is_meant(dial: Dial, url: str) -> None:
    assert dialled(CATALOGUE, dial).url == url


@pytest.mark.parametrize(
    ("dial", "error"),
    [
        (Dial("nobody"), NotThere),
        (Dial("5550199", "5550199"), NotThere),
        (Dial(":23"), NotThere),
        (Dial("other.example:23"), NotAllowed),
        (Dial("http://typed.example/"), HeadraceError),
        (Dial("typed.example:x"), HeadraceError),
        (Dial("typed.example:99999"), HeadraceError),
    ],
)
def test_what_is_not(dial: Dial, error: type[HeadraceError]) -> None:
    with pytest.raises(error):
        dialled(CATALOGUE, dial)


def test_how_failures_are_told() -> None:
    assert failure_of(TooSlow()) is Failure.SILENT
    assert failure_of(GatewayFull()) is Failure.NO_LINE
    assert failure_of(CannotConnect()) is failure_of(NotAllowed()) is Failure.REFUSED


class Fulfils:
    """Grants any wish, and notes it."""

    def __init__(self) -> None:
        self.wishes: list[Wish] = []

    def now(self, wish: Wish) -> Granted | None:
        return None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        self.wishes.append(wish)
        return Called(Hook(), Provenance("", ""))


class Hook:
    """A call that nobody uses."""

    datagrams = False

    def facts(self) -> Sequence[tuple[str, str]]:
        return ()

    def drop(self) -> None:
        pass


async def test_a_place_with_documents_is_called_at_its_counter() -> None:
    """Which echoes and ends lines as a far end does, whatever the listener's profile says of requests."""
    house = Fulfils()
    settings = Settings(eol="cr", cols=22)
    place, _ = await called(CATALOGUE, Asking(house, settings), Dial("web"), 1.0)
    web = CATALOGUE.places["WEB"]
    assert place is None  # nothing is made of its bytes, whatever it says of its lines
    assert house.wishes == [CounterWish(Ref(web.base, web), Settings(eol="crlf", cols=22, echo=True))]
    place, _ = await called(CATALOGUE, Asking(house, settings), Dial("board"), 1.0)
    assert place == CATALOGUE.places["BOARD"]
    assert isinstance(house.wishes[1], CallWish)
