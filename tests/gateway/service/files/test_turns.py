"""First come, first served, at several queues at once; and never two in a circle."""

import asyncio
import random

from gateway.service.files.turns import Turns


async def test_whoever_comes_first_is_first_at_all_queues() -> None:
    turns = Turns()
    one, two, three = turns.place({"a": 1}), turns.place({"a": 1, "b": 1}), turns.place({"b": 1})
    async with one as first, two as second, three as third:
        assert [each.is_set() for each in (first, second, third)] == [True, False, False]
    async with turns.place({"b": 1}) as four:
        assert four.is_set()
    assert turns._queues == {}


async def test_so_many_at_one_time_and_the_next_when_one_leaves() -> None:
    turns = Turns()
    async with turns.place({"a": 2}), turns.place({"a": 2}) as second:
        assert second.is_set()
        async with turns.place({"a": 2}) as third:
            assert not third.is_set()


async def test_whatever_they_want_all_are_done_in_their_order() -> None:
    """At each name with room for one: as they came. At any: never more than there is room for."""
    chance, turns = random.Random(7), Turns()
    rooms = {"a": 1, "b": 1, "c": 2, "d": 2}
    within, order = dict.fromkeys(rooms, 0), {name: list[int]() for name in rooms}

    async def change(number: int, names: list[str]) -> None:
        async with turns.place({name: rooms[name] for name in names}) as due:
            await due.wait()
            for name in names:
                within[name] += 1
                order[name].append(number)
                assert within[name] <= rooms[name]
            try:
                await asyncio.sleep(chance.random() / 1_000)
            finally:
                for name in names:
                    within[name] -= 1

    async with asyncio.timeout(20):
        wanted = [chance.sample(sorted(rooms), chance.randint(1, 4)) for _ in range(200)]
        tasks = [asyncio.create_task(change(*each)) for each in enumerate(wanted)]
        await asyncio.sleep(0)
        for each in chance.sample(tasks, 20):
            each.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    assert not any(each.exception() for each in tasks if not each.cancelled())
    for name in ("a", "b"):
        assert order[name] == sorted(order[name])
    assert turns._queues == {}
