"""What was dialled, and what it means."""

from types import MappingProxyType

import pytest

from adapters.errors import CannotConnect, GatewayFull, HeadraceError, NotAllowed, NotThere, TooSlow
from gateway.catalogue.model import Catalogue, GatewaySettings, Place
from gateway.modem.effects import Dial
from gateway.modem.results import Failure
from gateway.service.modems.calling import dialled, failure_of

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
