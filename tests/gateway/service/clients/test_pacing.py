"""The one tick for all: that it is one, that it comes in time, and that it leaves the loop to the others."""

import asyncio
import time
from dataclasses import dataclass, field

from adapters import limits
from gateway.service.clients.pacing import Pacing


@dataclass(eq=False)
class Client:
    """Due again `every` seconds, `times` times; each look costs `cost` seconds of the loop's time."""

    every: float
    times: int = 1_000_000
    cost: float = 0.0
    looks: list[float] = field(default_factory=list)
    grains: list[float] = field(default_factory=list)

    def pump(self, now: float, grain: float) -> float | None:
        self.looks.append(now)
        self.grains.append(grain)
        until = time.perf_counter() + self.cost
        while time.perf_counter() < until:
            pass
        return now + self.every if len(self.looks) < self.times else None


def timers() -> int:
    """Timers that are set in this loop."""
    loop = asyncio.get_running_loop()
    return sum(not each.cancelled() for each in loop._scheduled)  # type: ignore[attr-defined]


async def test_there_is_no_timer_while_nobody_is_paced_and_one_for_any_number() -> None:
    pacing, now = Pacing(), asyncio.get_running_loop().time()
    before = timers()
    clients = [Client(1.0) for _ in range(1_000)]
    for number, each in enumerate(clients):
        pacing.look(each, now + 1 + number / 1_000)
    assert (pacing.paced, timers()) == (1_000, before + 1)
    for each in clients:
        pacing.forget(each)
    assert (pacing.paced, timers()) == (0, before)


async def test_looks_come_when_they_are_due_and_not_before() -> None:
    pacing, loop = Pacing(), asyncio.get_running_loop()
    now = loop.time()
    late, early = Client(0.0, times=1), Client(0.0, times=1)
    pacing.look(late, now + 0.05)
    pacing.look(early, now + 0.02)  # the timer that was set has to come sooner
    await asyncio.sleep(0.1)
    assert now + 0.02 <= early.looks[0] < now + 0.045
    assert now + 0.05 <= late.looks[0]
    assert pacing.paced == 0


async def test_a_look_is_put_off_or_brought_forward_but_never_doubled() -> None:
    pacing, loop = Pacing(), asyncio.get_running_loop()
    client = Client(0.0, times=1)
    for at in (0.03, 0.01, 0.05, 0.02):
        pacing.look(client, loop.time() + at)
    await asyncio.sleep(0.1)
    assert len(client.looks) == 1


async def test_few_clients_are_looked_at_every_millisecond_or_two() -> None:
    pacing, loop = Pacing(), asyncio.get_running_loop()
    client = Client(1 / 480)
    began = loop.time()
    pacing.look(client, began)
    await asyncio.sleep(0.5)
    pacing.forget(client)
    seconds = client.looks[-1] - client.looks[0]
    assert len(client.looks) / seconds > 200  # 480 less what the loop's whole milliseconds take
    assert sorted(client.grains)[len(client.grains) // 2] < 0.01


async def test_many_clients_get_rarer_looks_and_the_others_the_loop() -> None:
    """A hundred looks of 0.1 ms each are 10 ms; they may take a quarter of the time."""
    pacing, loop = Pacing(), asyncio.get_running_loop()
    clients = [Client(0.002, cost=0.0001) for _ in range(100)]
    for each in clients:
        pacing.look(each, loop.time())
    free, worst, until = 0, 0.0, loop.time() + 1
    while (before := loop.time()) < until:
        await asyncio.sleep(0)
        free += 1
        worst = max(worst, loop.time() - before)
    looks = sum(len(each.looks) for each in clients)
    for each in clients:
        pacing.forget(each)
    assert 0.05 < looks * 0.0001 < 0.45
    assert min(len(each.looks) for each in clients) > 0.5 * max(len(each.looks) for each in clients)
    assert worst < 0.1
    assert free > 100


async def test_a_long_tick_lets_the_others_in_between() -> None:
    """Twenty looks of 2 ms: nobody waits for more than those of one turn."""
    pacing, loop = Pacing(), asyncio.get_running_loop()
    clients = [Client(1.0, times=1, cost=0.002) for _ in range(20)]
    for each in clients:
        pacing.look(each, loop.time())
    turns = 0
    while pacing.paced:
        await asyncio.sleep(0)
        turns += any(each.looks for each in clients)
    assert turns >= 20 * 0.002 / limits.TICK_TURN_SECONDS / 2


async def test_a_client_may_be_forgotten_or_looked_at_while_it_is_looked_at() -> None:
    pacing, loop = Pacing(), asyncio.get_running_loop()

    class Odd:
        looks = 0

        def pump(self, now: float, grain: float) -> float | None:
            self.looks += 1
            if self.looks == 1:
                pacing.forget(self)
                pacing.look(self, now + 0.01)
            return None

    odd = Odd()
    pacing.look(odd, loop.time())
    await asyncio.sleep(0.05)
    assert (odd.looks, pacing.paced) == (2, 0)


async def test_after_a_rest_the_looks_go_on() -> None:
    pacing, loop = Pacing(), asyncio.get_running_loop()
    for _ in range(3):
        client = Client(0.001, times=5)
        pacing.look(client, loop.time())
        await asyncio.sleep(0.1)
        assert len(client.looks) == 5
        assert pacing.paced == 0
