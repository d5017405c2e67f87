"""Calls in at a line that speaks modem. Commands and results: V.250 sections 6.3 and 5.7, from memory."""

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from gateway.testing.clients.line import Line
from gateway.testing.stage import Stage
from tests.gateway.service.callers.callers import BUSY, PATIENCE, Reserved
from tests.gateway.service.streams.far_ends import echo, far_end

MODEM = """[[listen]]
port = 1
speaks = "modem"
rings = PORT
[[listen]]
port = 2
"""


class Program:
    """An old program at the line."""

    def __init__(self, reserved: Reserved) -> None:
        self.line = Line(reserved.gateway.host, reserved.gateway.port, PATIENCE)
        self.command(b"ATE0")  # its line is known now

    def type(self, data: bytes) -> None:
        self.line.send(data, PATIENCE)

    def shows(self, data: bytes) -> None:
        """Exactly that comes next."""
        assert self.line.take(len(data), time.monotonic() + PATIENCE) == data

    def waits_for(self, wanted: bytes) -> bytes:
        return self.line.take_until(wanted, time.monotonic() + PATIENCE)

    def command(self, line: bytes, result: bytes = b"OK") -> None:
        self.type(line + b"\r")
        self.waits_for(b"\r\n" + result + b"\r\n")

    def close(self) -> None:
        self.line.close()


Reserve = Callable[..., Reserved]


@pytest.fixture
def made() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


@pytest.fixture
def reserve(made: ExitStack, tmp_path_factory: pytest.TempPathFactory) -> Reserve:
    stage = made.enter_context(Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")))

    def reserved(keys: str = "", more: str = "", pace: int = 0) -> Reserved:
        modem = MODEM.replace("speaks", 'profile = "slow"\nspeaks') + f"[profile.slow]\npace = {pace}\n"
        return made.enter_context(closing(Reserved(stage, keys, modem + more)))

    return reserved


RING = b"\r\nRING\r\n"


def test_a_call_rings_is_answered_and_ends(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve('banner = "The mill"')
    program = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    program.shows(RING)
    caller.hears(b"The mill\r\n")
    caller.say(b"early ")
    program.command(b"ATA", b"CONNECT 9600")
    program.shows(b"early ")
    caller.say(b"hello\n\xff")
    program.shows(b"hello\n\xff")
    program.type(b"good day\r\n")
    caller.hears(b"good day\r\n")
    caller.hang_up()
    program.shows(b"\r\nNO CARRIER\r\n")
    program.command(b"AT")


def test_auto_answer_after_the_second_ring(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve()
    program = made.enter_context(closing(Program(reserved)))
    program.command(b"ATS0=2")
    began = time.monotonic()
    caller = reserved.call()
    program.shows(RING)
    program.shows(RING)
    assert 5 < time.monotonic() - began < 8  # RING every six seconds: common practice
    program.shows(b"\r\nCONNECT 9600\r\n")
    caller.say(b"x")
    program.shows(b"x")
    time.sleep(1.1)
    program.type(b"+++")
    program.waits_for(b"OK\r\n")
    program.command(b"ATH")
    caller.ends()


def test_a_call_that_rings_can_be_refused(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve()
    program = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    program.shows(RING)
    program.command(b"ATH")
    caller.hears_to_the_end(BUSY)
    reserved.call()
    program.shows(RING)  # the next one rings again


def test_a_caller_that_gives_up_rings_no_more(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve()
    program = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    program.shows(RING)
    caller.hang_up()
    time.sleep(0.3)
    program.command(b"ATA", b"NO CARRIER")


def test_a_caller_whose_time_is_over_rings_no_more(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve('waiting = "1s"')
    program = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    program.shows(RING)
    caller.hears_to_the_end(BUSY)
    program.command(b"ATA", b"NO CARRIER")


def test_a_line_in_use_does_not_ring_until_it_is_free(reserve: Reserve, made: ExitStack) -> None:
    with far_end(echo) as port:
        reserved = reserve(more=f'[place.far]\nbase = "tcp://127.0.0.1:{port}"\n')
        program = made.enter_context(closing(Program(reserved)))
        program.command(b"ATDfar", b"CONNECT 9600")
        caller = reserved.call()
        program.type(b"x")
        program.shows(b"x")
        time.sleep(1.1)
        program.type(b"+++")
        program.waits_for(b"OK\r\n")
        program.command(b"ATH")
        program.shows(RING)
        program.command(b"ATA", b"CONNECT 9600")
        caller.say(b"y")
        program.shows(b"y")


def test_the_longest_there_rings_first_and_a_dial_makes_way(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve()
    first = made.enter_context(closing(Program(reserved)))
    second = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    first.shows(RING)
    first.close()  # its line drops
    second.shows(RING)
    second.command(b"ATDnobody", b"NO CARRIER")  # which turns away who rings (section 6.3.1)
    caller.hears_to_the_end(BUSY)


def test_hear_takes_a_call_that_rings(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve()
    program = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    program.shows(RING)
    bound = reserved.gateway.bound[1]
    client = made.enter_context(closing(Line(bound.host, bound.port, PATIENCE)))
    client.send(b"HEAR %d\r" % reserved.port, PATIENCE)
    assert client.take(18, time.monotonic() + PATIENCE) == b"150 00000 000 ..\r\n"
    assert client.take(18, time.monotonic() + PATIENCE) == b"200 00001 040 ..\r\n"
    program.command(b"ATA", b"NO CARRIER")
    caller.say(b"z")
    client.take_until(b"\r\n", time.monotonic() + PATIENCE)
    assert client.take(1, time.monotonic() + PATIENCE) == b"z"


def test_the_listeners_line_ends_where_the_port_tells_its_own(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve('lines = "lf"')
    program = made.enter_context(closing(Program(reserved)))
    caller = reserved.call()
    program.shows(RING)
    program.command(b"ATA", b"CONNECT 9600")
    caller.say("Grüße\n".encode())
    program.shows(b"Grusse\r\n")
    program.type(b"me\r")
    caller.hears(b"me\n")


def test_a_silent_line_that_may_be_called_is_not_idle(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve(more="[gateway]\nidle = 1\n")
    program = made.enter_context(closing(Program(reserved)))
    time.sleep(2.5)
    reserved.call()
    program.shows(RING)


def test_who_calls_again_and_again_leaves_the_program_its_line(reserve: Reserve, made: ExitStack) -> None:
    """60 characters a second are six RINGs; the result of a command comes behind one of them at most."""
    reserved = reserve('banner = "hi"', pace=60)
    program = made.enter_context(closing(Program(reserved)))
    for _ in range(300):
        caller = reserved.call()
        caller.line.take(4, time.monotonic() + PATIENCE)  # the banner, or that the one before is still there
        caller.hang_up()
    program.type(b"AT+GMM\r")
    shown = program.waits_for(b"\r\nOK\r\n")
    assert len(shown) < 300


def test_a_call_that_could_not_ring_at_once_does_then(reserve: Reserve, made: ExitStack) -> None:
    reserved = reserve(pace=30)
    program = made.enter_context(closing(Program(reserved)))
    program.type(b"ATI\r")  # more than a second's worth
    time.sleep(0.3)
    reserved.call()
    shown = program.waits_for(b"\r\nOK\r\n")
    assert b"RING" not in shown
    program.shows(RING)
