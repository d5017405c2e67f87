"""What is counted of calls, and that every one that begins ends in the counts too."""

import asyncio

from gateway.service.counter.call import CounterCall
from gateway.service.streams.calls import Call
from gateway.service.streams.tally import Tally, Way
from gateway.session.counter.steps import Talk, listen
from tests.gateway.service.modems.test_wires import Far, Stand


async def test_a_call() -> None:
    tally, far = Tally(), Far()
    call = Call(far)
    await call.say(b"before it is counted")
    call.count(tally, Way.OUT)
    await call.say(b"hello")
    assert (tally.begun[Way.OUT], tally.open, tally.sent, tally.heard) == (1, 1, 5, 0)
    assert {each.name: each.read() for each in tally.numbers} == {
        "calls": {"out": 1, "in": 0, "counter": 0},
        "calls_open": 1,
        "call_bytes": {"to_far": 5, "from_far": 0},
    }
    call.drop()
    call.drop()
    call.leave()
    await asyncio.sleep(0)
    assert (tally.begun[Way.OUT], tally.open) == (1, 0)


def silent() -> Talk[None]:
    while True:
        yield from listen()


async def test_a_counter_that_is_dropped_before_it_has_begun() -> None:
    tally = Tally()
    call = CounterCall(silent(), Stand(), 5.0, "CLUB")
    call.count(tally, Way.COUNTER)
    call.drop()
    await asyncio.sleep(0.01)
    assert (tally.begun[Way.COUNTER], tally.open) == (1, 0)
