"""A far server that only keeps everybody waiting is left alone, and tried again by one asker at a time."""

import asyncio
import time
from contextlib import suppress
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, FarBusy, HeadraceError, NotThere, TooSlow
from gateway.service.breaker import Breaker, origin_of
from gateway.testing.stage import Stage
from tests.gateway.service.streams.far_ends import far_end

URL = "https://far.example/x?y"
FAILURES = limits.BREAKER_FAILURES


class Time:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


async def ask(breaker: Breaker, clock: Time, fault: BaseException | None = None, took: float = 2.0) -> str:
    """What comes of one question: the class of what is raised, or nothing."""
    try:
        async with breaker.trying(URL):
            clock.now += took
            if fault is not None:
                raise fault
    except (HeadraceError, asyncio.CancelledError) as error:
        return type(error).__name__
    return ""


def waits(breaker: Breaker) -> int | None:
    """The seconds that are told; None where it may be asked."""
    try:
        breaker.check(URL)
    except FarBusy as error:
        return error.seconds
    return None


async def test_five_slow_failures_in_a_row() -> None:
    clock = Time()
    breaker = Breaker(clock)
    for fault in (TooSlow(), CannotConnect(), BrokenOff(), asyncio.CancelledError()):
        await ask(breaker, clock, fault)
    assert waits(breaker) is None
    assert await ask(breaker, clock) == ""
    for _ in range(FAILURES):
        assert waits(breaker) is None
        assert await ask(breaker, clock, TooSlow()) == "TooSlow"
    assert waits(breaker) == 5
    assert await ask(breaker, clock) == "FarBusy"
    clock.now += 4.5
    assert waits(breaker) == 1


@pytest.mark.parametrize(("fault", "took"), [(CannotConnect(), 0.1), (NotThere(), 9.0), (FarBusy(), 9.0)])
async def test_what_fails_at_once_or_answers_is_no_such_failure(fault: HeadraceError, took: float) -> None:
    clock = Time()
    breaker = Breaker(clock)
    for _ in range(3 * FAILURES):
        await ask(breaker, clock, fault, took)
    assert waits(breaker) is None


async def broken(clock: Time) -> Breaker:
    breaker = Breaker(clock)
    for _ in range(FAILURES):
        await ask(breaker, clock, TooSlow())
    return breaker


async def test_one_tries_while_the_others_are_told_at_once() -> None:
    clock = Time()
    breaker = await broken(clock)
    clock.now += 5
    async with breaker.trying(URL):
        assert await ask(breaker, clock) == "FarBusy"
        assert waits(breaker) == 1
    assert waits(breaker) is None
    for _ in range(FAILURES - 1):
        await ask(breaker, clock, TooSlow())
    assert waits(breaker) is None  # the count began anew


async def test_each_failed_try_doubles_the_rest_up_to_a_minute() -> None:
    clock = Time()
    breaker, rests = await broken(clock), []
    for _ in range(6):
        rests.append(waits(breaker))
        clock.now += rests[-1] or 0
        await ask(breaker, clock, TooSlow())
    assert rests == [5, 10, 20, 40, 60, 60]
    clock.now += 60
    await ask(breaker, clock)
    for _ in range(FAILURES):
        await ask(breaker, clock, TooSlow())
    assert waits(breaker) == 5


async def test_a_try_that_is_given_up_early_leaves_it_to_the_next() -> None:
    clock = Time()
    breaker = await broken(clock)
    clock.now += 5
    assert await ask(breaker, clock, asyncio.CancelledError(), took=0.1) == "CancelledError"
    assert waits(breaker) is None
    assert await ask(breaker, clock) == ""


async def test_those_that_were_under_way_do_not_lengthen_the_rest() -> None:
    clock = Time()
    breaker = Breaker(clock)
    async with asyncio.TaskGroup() as tasks:

        async def one() -> None:
            with suppress(TooSlow):
                async with breaker.trying(URL):
                    await asyncio.sleep(0)
                    clock.now = 102.0
                    raise TooSlow

        for _ in range(20):
            tasks.create_task(one())
    assert waits(breaker) == 5


async def test_only_that_server_and_never_this_computers_folders() -> None:
    clock = Time()
    breaker = await broken(clock)
    for url in ("https://other.example/x", "https://far.example:8443/", "file:///srv/x"):
        breaker.check(url)
    assert origin_of("https://u:p@Far.Example/x?y") == origin_of(URL) == "https://far.example"
    assert origin_of("https://far.example?y") == "https://far.example"
    async with breaker.trying("file:///srv/x"):
        pass
    assert "file" not in "".join(breaker._circuits)


async def test_what_is_remembered_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "BREAKERS", 10)
    breaker = Breaker(Time())
    for number in range(50):
        async with breaker.trying(f"https://h{number}.example/"):
            pass
    assert len(breaker._circuits) == 10


def test_through_a_gateway(tmp_path: Path) -> None:
    """A server that takes connections and says nothing: five wait, the sixth is told at once, in seconds."""

    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()

    text = """[gateway]
wait = 2
[place.dead]
base = "http://127.0.0.1:{port}/"
[place.alive]
base = "file://{folder}/"
"""
    with far_end(silent) as port, Stage(Path(), lambda: tmp_path) as stage:
        gateway = stage.gateways(text.format(port=port, folder=tmp_path), log="warning")
        clients = [stage.clients(gateway) for _ in range(FAILURES)]
        for number, each in enumerate(clients):
            each.send(f"READ dead:{number}")
        assert [each.reply().status for each in clients] == [420] * FAILURES
        began = time.monotonic()
        reply = clients[0].ask("READ dead:more")
        assert time.monotonic() - began < 0.5
        assert reply.status == 450
        assert reply.records[0].startswith("The far server does not answer; wait")
        assert 1 <= int(reply.records[0].split()[-1]) <= 5
        assert clients[0].ask("ERASE dead:x").status in {450, 532}
        assert clients[0].ask("LIST alive:").status == 200
        assert sum("is left alone for 5 seconds" in each for each in gateway.log) == 1


async def test_how_many_are_left_alone() -> None:
    now = 0.0
    breaker = Breaker(lambda: now)
    for _ in range(limits.BREAKER_FAILURES):
        assert breaker.open == 0
        with suppress(TooSlow):
            async with breaker.trying("https://a.example/"):
                now += limits.BREAKER_SLOW_SECONDS
                raise TooSlow
    assert breaker.open == 1
