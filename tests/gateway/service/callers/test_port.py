"""Calls in, through a whole gateway (CONTRACT section 3, HEAR)."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import pytest

from gateway.catalogue.model import ReservedPort
from gateway.service.callers.port import CallPort
from gateway.service.streams.calls import Call
from gateway.service.streams.tally import Tally
from gateway.session.wishes import Called, Provenance
from gateway.testing.stage import Stage
from tests.gateway.service.callers.callers import BUSY, Caller, Reserved, free_port
from tests.gateway.service.modems.test_wires import Far

Reserve = Callable[..., Reserved]
BEGUN = b"150 00000 000 ..\r\n"
CALLED = b"200 00001 040 ..\r\n" + b"127.0.0.1".ljust(40) + b"\r\n"
OVER = b"\r\n226 00000 000 ..\r\n"


def test_a_call_in(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve('banner = "The mill, line one"\nlines = "lf"')
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    assert client.quiet(0.2)
    caller = reserved.call()
    caller.hears(b"The mill, line one\n")
    assert client.read(len(CALLED)) == CALLED
    caller.say("Grüß Gott\n".encode())
    assert client.read(12) == b"Gruss Gott\r\n"
    client.put(b"HELLO\r")
    caller.hears(b"HELLO\n")
    caller.hang_up()
    assert client.read(len(OVER)) == OVER
    why = [each.rstrip() for each in client.ask("WHY").records]
    assert "SENT     6 bytes" in why
    assert "HEARD    12 bytes" in why
    assert "ENDED    by the far end" in why
    assert f"REQUEST  HEAR {reserved.port}" in why


def test_a_call_in_by_lines(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve('lines = "lf"')
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port} lines").status == 150
    caller = reserved.call()
    assert client.read(len(CALLED)) == CALLED
    assert client.ask(">WHO IS IT").records == ()
    caller.hears(b"WHO IS IT\n")
    caller.say(b"a wren\n")
    until = time.monotonic() + 5
    while not (reply := client.ask("")).records:
        assert time.monotonic() < until
    assert reply.records == ("a wren".ljust(40),)
    caller.hang_up()
    while (reply := client.ask("")).status == 200:
        assert time.monotonic() < until
    assert reply.status == 226
    assert client.ask("NOOP x").records == ("x".ljust(40),)


def test_the_client_leaves_with_the_escape(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve()
    client = stage.clients(reserved.gateway)
    client.put(b"HEAR %d\r" % reserved.port)
    assert client.read(len(BEGUN)) == BEGUN
    caller = reserved.call()
    assert client.read(len(CALLED)) == CALLED
    client.put(b"SO LONG\r")
    caller.hears(b"SO LONG\r\n")
    time.sleep(1.1)
    client.put(b"+++")
    assert client.read(len(OVER)) == OVER
    caller.ends()
    assert client.ask("NOOP there").records == ("there".ljust(40),)


def test_a_caller_may_wait_first(stage: Stage, reserve: Reserve) -> None:
    """What it says meanwhile is kept."""
    reserved = reserve()
    client = stage.clients(reserved.gateway)
    who = f"HEAR {reserved.port} who"
    assert (client.ask(who).status, client.ask(who).records) == (200, ())
    caller = reserved.call()
    caller.say(b"early ")
    until = time.monotonic() + 5
    while not (reply := client.ask(who)).records:
        assert time.monotonic() < until
    assert reply.records == ("127.0.0.1".ljust(40),)
    client.put(b"HEAR %d\r" % reserved.port)
    assert client.read(len(BEGUN + CALLED)) == BEGUN + CALLED
    assert client.read(6) == b"early "
    caller.hang_up()
    assert client.read(len(OVER)) == OVER
    assert client.ask(who).records == ()


def waits(stage: Stage, reserved: Reserved) -> Caller:
    """A caller of whom the gateway knows."""
    caller = reserved.call()
    client = stage.clients(reserved.gateway)
    until = time.monotonic() + 5
    while not client.ask(f"HEAR {reserved.port} who").records:
        assert time.monotonic() < until
    client.close()
    return caller


def test_who_waits_can_be_refused(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve('busy = "Not today, sorry"')
    client = stage.clients(reserved.gateway)
    caller = waits(stage, reserved)
    reply = client.ask(f"HEAR {reserved.port} REFUSE")
    assert (reply.status, reply.records) == (200, ("127.0.0.1".ljust(40),))
    caller.hears_to_the_end(b"Not today, sorry\r\n")
    assert client.ask(f"HEAR {reserved.port} refuse").records == ()


def test_one_call_at_a_time(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve()
    client, other = stage.clients(reserved.gateway), stage.clients(reserved.gateway)
    first = waits(stage, reserved)
    reserved.call().hears_to_the_end(BUSY)  # while one waits
    client.put(b"HEAR %d\r" % reserved.port)
    assert client.read(len(BEGUN + CALLED)) == BEGUN + CALLED
    reserved.call().hears_to_the_end(BUSY)  # while one talks
    reply = other.ask(f"HEAR {reserved.port}")
    assert (reply.status, reply.records[0].strip()) == (450, "Somebody else hears or talks there")
    first.hang_up()
    assert client.read(len(OVER)) == OVER
    assert other.ask(f"HEAR {reserved.port}").status == 150
    assert client.ask(f"HEAR {reserved.port}").status == 450  # while one hears
    last = reserved.call()
    assert other.read(len(CALLED)) == CALLED
    last.say(b"x")
    assert other.read(1) == b"x"


def test_nobody_answers(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve('waiting = "1s"\nbanner = "One moment"')
    began = time.monotonic()
    caller = reserved.call()
    caller.hears(b"One moment\r\n")
    caller.hears_to_the_end(BUSY)
    assert 0.9 < time.monotonic() - began < 5
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port} who").records == ()


def test_without_waiting_somebody_has_to_hear_already(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve("waiting = 0")
    reserved.call().hears_to_the_end(BUSY)
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    caller = reserved.call()
    assert client.read(len(CALLED)) == CALLED
    caller.say(b"x")
    assert client.read(1) == b"x"


def test_a_caller_who_gives_up(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve()
    waits(stage, reserved).hang_up()
    client = stage.clients(reserved.gateway)
    until = time.monotonic() + 5
    while client.ask(f"HEAR {reserved.port} who").records:
        assert time.monotonic() < until


@pytest.mark.parametrize("typed", [b"TIME\r", b"HEAR 1\r", b"x" * 300 + b"\r", b"\x18", b'"\r', b">text\r"])
def test_a_line_ends_the_wait(stage: Stage, reserve: Reserve, typed: bytes) -> None:
    """It is dropped and answered 503; and so is CAN, as for a transfer. An empty line is ignored."""
    reserved = reserve()
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    client.put(b"\r\n\r")
    assert client.quiet(0.2)
    client.put(typed)
    reply = client.reply()
    assert (reply.status, reply.records) == (503, ("Nobody called; you hear no longer".ljust(40),))
    waits(stage, reserved)
    assert client.ask("NOOP x").records == ("x".ljust(40),)


def test_a_line_that_is_lost_hears_no_longer(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve()
    client, other = stage.clients(reserved.gateway), stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    client.close()
    until = time.monotonic() + 5
    while other.ask(f"HEAR {reserved.port}").status != 150:
        assert time.monotonic() < until


def test_a_client_that_sends_no_more_hears_no_longer(stage: Stage, reserve: Reserve) -> None:
    """It could not leave, and most often has gone."""
    reserved = reserve()
    client, other = stage.clients(reserved.gateway), stage.clients(reserved.gateway)
    client.put(b"HEAR %d\r" % reserved.port)
    client.finish()
    assert client.read(len(BEGUN)) == BEGUN
    until = time.monotonic() + 5
    while other.ask(f"HEAR {reserved.port}").status != 150:
        assert time.monotonic() < until


def test_a_client_that_hears_is_not_idle(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve(more="[gateway]\nidle = 1")
    client, other = stage.clients(reserved.gateway), stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    assert other.reply(timeout=6).status == 421  # while this one is turned away
    caller = reserved.call()
    assert client.read(len(CALLED)) == CALLED
    caller.say(b"x")
    assert client.read(1) == b"x"


def test_a_caller_that_speaks_telnet(stage: Stage, reserve: Reserve) -> None:
    """RFC 854: WILL TERMINAL-TYPE and DO ECHO are refused, FFh is doubled, nothing of it is seen."""
    reserved = reserve("telnet = true\nraw = true")
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    caller = reserved.call()
    assert client.read(len(CALLED)) == CALLED
    caller.say(b"a\xff\xfb\x18\xff\xfd\x01b\xff\xff")
    assert client.read(3) == b"ab\xff"
    caller.hears(b"\xff\xfe\x18\xff\xfc\x01")
    client.put(b"\xffc")
    caller.hears(b"\xff\xffc")


def test_the_gateway_goes_down(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve()
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    reserved.gateway.stop()
    assert client.reply().status == 421


def test_a_caller_waits_as_the_gateway_goes_down(stage: Stage, reserve: Reserve) -> None:
    reserved = reserve()
    caller = waits(stage, reserved)
    reserved.gateway.stop()
    caller.hears_to_the_end(BUSY)


def test_a_paced_client_of_few_columns(stage: Stage, reserve: Reserve) -> None:
    """The profile holds for the reply and for the stream."""
    profile = "[[listen]]\nport = 0\nprofile = 'small'\n"
    profile += "[profile.small]\ncols = 16\nmark = 'on'\neol = 'cr'\npace = 400\nwindow = 1\n"
    reserved = reserve(more=profile)
    client = stage.clients(reserved.gateway)
    client.put(b"HEAR %d\r" % reserved.port)
    assert client.read(17) == b"150 00000 000 ..\r"
    caller = reserved.call()
    assert client.read(17 + 17) == b"200 00001 016 ..\r!127.0.0.1      \r"
    caller.say(b"0123456789" * 20 + b"\n")
    began = time.monotonic()
    assert client.read(201) == b"0123456789" * 20 + b"\r"
    assert time.monotonic() - began > 0.3  # 201 characters at 400 a second, less what may go at once


def test_a_fault_of_our_own_keeps_the_port_for_nobody(
    stage: Stage, reserve: Reserve, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def fails(_: Call) -> None:
        raise RuntimeError("made to fail")

    reserved = reserve()
    with monkeypatch.context() as patch:
        patch.setattr(Call, "gone", fails)
        reserved.call().hears_to_the_end(BUSY)
    assert "a caller's line failed" in reserved.gateway.errors[0]
    reserved.gateway._log.errors.clear()
    client = stage.clients(reserved.gateway)
    assert client.ask(f"HEAR {reserved.port}").status == 150
    reserved.call()
    assert client.read(len(CALLED)) == CALLED


async def test_a_fault_of_our_own_while_somebody_is_turned_away_leaves_no_line() -> None:
    class Fails(Far):
        async def send(self, data: bytes) -> None:
            raise RuntimeError("made to fail")

    port, far = CallPort(lambda: ReservedPort(0), tuple, Tally()), Fails()
    port.shut()
    port._rang(far, "192.0.2.7")
    goodbyes = list(port._goodbyes)
    await port.told()
    assert far.aborted
    assert [type(each.exception()) for each in goodbyes] == [RuntimeError]


async def test_who_stops_hearing_after_a_call_has_come_hangs_it_up() -> None:
    port, far = CallPort(lambda: ReservedPort(0), tuple, Tally()), Far()
    hearer = port.hear()
    assert port.in_use
    hearer.give(Called(Call(far), Provenance("tcp://192.0.2.7:7", "a call in")))
    hearer.drop()
    assert far.aborted
    assert hearer.taken() is None
    assert not port.in_use


class Ringing:
    """A line at which it rings, whoever calls."""

    over = 0

    def ring(self) -> bool:
        return True

    def ring_over(self) -> None:
        self.over += 1


@asynccontextmanager
async def called(line: Ringing) -> AsyncIterator[CallPort]:
    """A port at which somebody calls, so that it rings at that line."""
    number = free_port()
    port = CallPort(lambda: ReservedPort(number), lambda: (line,), Tally())
    await port.open("127.0.0.1", number)
    try:
        _, writer = await asyncio.open_connection("127.0.0.1", number)
        async with asyncio.timeout(5):
            while port.waiting is None:  # noqa: ASYNC110 nothing tells of it
                await asyncio.sleep(0.01)
        await asyncio.sleep(0.01)
        yield port
        writer.close()
    finally:
        port.shut()
        for each in port.servers:
            each.close()
        await port.told()


async def test_a_caller_who_has_just_gone_is_neither_answered_nor_refused() -> None:
    line, other = Ringing(), Ringing()
    async with called(line) as port:
        port.refused(other)  # it rings elsewhere
        assert (port.waiting, line.over) == ("127.0.0.1", 0)
        assert port.turn_away() == "127.0.0.1"
        port.refused(line)
        assert port.answered(line) is None
        assert line.over == 1


async def test_a_wait_that_ends_just_when_the_call_is_answered_does_not_end_the_call() -> None:
    line = Ringing()
    async with called(line) as port:
        caller = port._caller
        assert caller is not None
        answered = port.answered(line)
        assert answered is not None
        port._give_up(caller)
        assert port.in_use
        assert not port._goodbyes
        answered.call.drop()
