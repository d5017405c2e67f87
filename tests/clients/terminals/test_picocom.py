"""picocom, unmodified, at a serial cable whose other end is the gateway's own device.

What is typed and shown: V.250, from memory.
"""

import time
from collections.abc import Iterator

import pytest

from tests.clients.terminals.conftest import House
from tests.clients.terminals.logging_in import log_in
from tests.clients.terminals.screen import PATIENCE, Screen
from tests.gateway.service.callers.callers import Caller


def command(house: House) -> list[str]:
    return ["picocom", "--baud", "9600", "--flow", "none", "--nolock", str(house.modem)]


@pytest.fixture
def screen(house: House) -> Iterator[Screen]:
    with house.at_the_device(), Screen(command(house), {"HOME": str(house.home)}) as made:
        made.wait_for("Terminal ready")
        yield made


def wake(screen: Screen) -> None:
    """AT until the gateway has found the cable."""
    until = time.monotonic() + PATIENCE
    while "OK" not in screen.lines():
        assert time.monotonic() < until
        screen.type("AT\r")
        time.sleep(0.3)


def test_telnet_without_knowing_it(house: House, screen: Screen) -> None:
    """The options are spoken between the gateway and the club: WILL is answered by DO, DO NAWS by WILL."""
    wake(screen)
    screen.type("ATDT5550101\r")
    screen.wait_for("ATDT5550101", "CONNECT 9600", "The bird club (invented)", "Name:")
    log_in(screen)
    assert house.commands[:3] == [b"\xfd\x01", b"\xfd\x03", b"\xfb\x1f"]  # DO ECHO, DO SGA, WILL NAWS
    assert house.commands[3].startswith(b"\xfa\x1f")  # SB NAWS (RFC 1073)
    time.sleep(1.2)
    screen.type("+++")
    screen.wait_for("PAGE or BYE?", "OK")
    ended = house.told("hung up")
    screen.type("ATH\r")
    screen.wait_for("ATH", "OK")
    assert house.told("hung up") == ended + 1


def test_a_host_and_port(house: House, screen: Screen) -> None:
    wake(screen)
    screen.type(f"ATDT127.0.0.1:{house.club}\r")
    log_in(screen)
    screen.type("bye\r")
    screen.wait_for("Fly well", "", "NO CARRIER")
    screen.type("ATDT192.0.2.1:23\r")  # which the catalogue does not allow: nothing is sent there
    screen.wait_for("ATDT192.0.2.1:23", "NO CARRIER")


def test_a_call_is_answered_by_itself(house: House, screen: Screen) -> None:
    wake(screen)
    screen.type("ATS0=1\r")
    screen.wait_for("ATS0=1", "OK")
    caller = Caller(house.reserved)
    caller.hears(b"The hide\r\n")
    screen.wait_for("RING", "", "CONNECT 9600")
    caller.say(b"A wren is calling\r\n")
    screen.wait_for("CONNECT 9600", "A wren is calling")
    screen.type("Come in")
    caller.hears(b"Come in")
    caller.hang_up()
    screen.wait_for("NO CARRIER")


def test_the_cable_is_pulled_and_put_back(house: House) -> None:
    """A call that was going on is over with it; the next program finds a modem again."""
    for _ in range(2):
        with house.at_the_device(), Screen(command(house), {"HOME": str(house.home)}) as screen:
            wake(screen)
            screen.type("ATDclub\r")
            log_in(screen)
            ended = house.told("hung up")
        until = time.monotonic() + PATIENCE
        while house.told("hung up") == ended:
            assert time.monotonic() < until
            time.sleep(0.05)
