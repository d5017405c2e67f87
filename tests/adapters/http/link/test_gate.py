"""Turns: how many at once, in which order, and what is left behind."""

import asyncio

import pytest

from adapters.http.link.gate import Gate

A, B = ("a.example", 80), ("b.example", 80)


class Crowd:
    """Counts who is inside."""

    def __init__(self, gate: Gate) -> None:
        self.gate = gate
        self.inside: dict[object, int] = {}
        self.most: dict[object, int] = {}
        self.order: list[int] = []

    def _enter(self, key: object, step: int) -> None:
        self.inside[key] = self.inside.get(key, 0) + step
        self.most[key] = max(self.most.get(key, 0), self.inside[key])

    async def visit(self, origin: tuple[str, int], number: int, seconds: float = 0.001) -> None:
        async with self.gate.turn(origin):
            self.order.append(number)
            for key in (origin, "all"):
                self._enter(key, 1)
            await asyncio.sleep(seconds)
            for key in (origin, "all"):
                self._enter(key, -1)


async def test_both_limits_hold_and_nobody_is_forgotten() -> None:
    crowd = Crowd(Gate(5, 3))
    visits = [crowd.visit((f"{number % 4}.example", 80), number) for number in range(200)]
    await asyncio.gather(*visits)
    assert crowd.most["all"] == 5
    assert all(crowd.most[key] <= 3 for key in crowd.most if key != "all")
    assert len(crowd.order) == 200


async def test_turns_come_in_the_order_of_asking() -> None:
    crowd = Crowd(Gate(10, 1))
    await asyncio.gather(*(crowd.visit(A, number) for number in range(20)))
    assert crowd.order == list(range(20))


async def test_a_stalled_origin_leaves_room_for_others() -> None:
    crowd = Crowd(Gate(4, 2))
    stalled = [asyncio.create_task(crowd.visit(A, number, 60)) for number in range(50)]
    await asyncio.sleep(0)
    async with asyncio.timeout(1):
        await asyncio.gather(*(crowd.visit(B, 100 + number) for number in range(20)))
    for task in stalled:
        task.cancel()
    await asyncio.gather(*stalled, return_exceptions=True)


async def test_who_gives_up_gives_back() -> None:
    gate = Gate(2, 1)
    for _ in range(3):
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.01), gate.turn(A), gate.turn(A):
                pytest.fail("two turns where one is allowed")
    async with gate.turn(A), gate.turn(B):
        pass
    assert gate._lanes == {}
