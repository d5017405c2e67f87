"""C-Kermit, unmodified: its own DIAL and ANSWER, with its own idea of a modem of V.250."""

from collections.abc import Iterator

import pytest

from tests.clients.terminals.conftest import House
from tests.clients.terminals.logging_in import log_in
from tests.clients.terminals.screen import Screen
from tests.gateway.service.callers.callers import Caller


@pytest.fixture
def screen(house: House) -> Iterator[Screen]:
    """Set up by hand; a pseudo terminal has no carrier to watch."""
    with house.at_the_port(), Screen(["kermit", "-Y"], {"HOME": str(house.home)}) as made:
        made.wait_for_prompt("(")
        for command in (
            "set modem type itu-t-v250",
            f"set line {house.modem}",
            "set carrier-watch off",
            "set speed 9600",
            "set flow-control none",
            "set dial display on",
            "set dial hangup off",
            "set modem error-correction off",
            "set modem data-compression off",
        ):
            made.type(f"{command}\r")
        yield made


def test_its_own_dial(screen: Screen) -> None:
    screen.type("dial 5550100\r")  # which goes on to its terminal by itself
    log_in(screen)
    screen.type("bye\r")
    screen.wait_for("Fly well", "", "NO CARRIER")


def test_its_own_answer(house: House, screen: Screen) -> None:
    screen.type("answer 60\r")
    screen.wait_for("ATS0=1", "OK")
    caller = Caller(house.reserved)
    screen.wait_for("CONNECT 9600")
    caller.say(b"A wren is calling\r\n")
    screen.wait_for_prompt("A wren is calling")
    screen.type("Come in")
    caller.hears(b"The hide\r\nCome in")
    caller.hang_up()
    screen.wait_for("NO CARRIER")
