"""Turns: one at a time while each is quick, and nobody waits long for one that hangs."""

import asyncio
import time

import pytest

from adapters.errors import TooSlow
from adapters.local.one_by_one import OneByOne


async def test_quick_work_is_done_one_by_one_in_the_order_of_coming() -> None:
    turns, there, order = OneByOne(30.0), 0, list[int]()

    async def work(number: int) -> None:
        nonlocal there
        async with turns.turn(60):
            there += 1
            assert there == 1
            await asyncio.sleep(0.002)
            order.append(number)
            there -= 1

    await asyncio.gather(*map(work, range(40)))
    assert order == list(range(40))


async def test_what_hangs_holds_up_the_others_once() -> None:
    """And its end, when it comes, does not make room beside the one that has the turn since."""
    turns, order = OneByOne(0.2), list[str]()
    hung_goes, second_has_it, second_goes = asyncio.Event(), asyncio.Event(), asyncio.Event()

    async def hanging() -> None:
        async with turns.turn(60):
            await hung_goes.wait()
        order.append("the hung one")

    async def second() -> None:
        async with turns.turn(60):
            second_has_it.set()
            await second_goes.wait()
            order.append("the second")

    async def third() -> None:
        async with turns.turn(60):
            order.append("the third")

    first = asyncio.create_task(hanging())
    await asyncio.sleep(0)
    began = time.monotonic()
    others = [asyncio.create_task(second())]
    await asyncio.wait_for(second_has_it.wait(), 20)
    assert 0.19 <= time.monotonic() - began < 10
    turns._patience = 30.0
    others.append(asyncio.create_task(third()))
    hung_goes.set()
    await asyncio.wait_for(first, 20)
    await asyncio.sleep(0.1)
    assert order == ["the hung one"]
    second_goes.set()
    await asyncio.wait_for(asyncio.gather(*others), 20)
    assert order == ["the hung one", "the second", "the third"]


async def test_who_fails_or_gives_up_keeps_no_turn() -> None:
    turns, go = OneByOne(30.0), asyncio.Event()

    async def waiting() -> None:
        async with turns.turn(60):
            await go.wait()

    with pytest.raises(OSError, match="gone"):
        async with turns.turn(60):
            raise OSError("gone")
    holder, behind = asyncio.create_task(waiting()), asyncio.create_task(waiting())
    await asyncio.sleep(0.01)
    for each in (behind, holder):
        each.cancel()
        await asyncio.wait({each})
    async with asyncio.timeout(10), turns.turn(60):
        pass


async def test_who_has_less_time_than_that_is_told() -> None:
    turns = OneByOne(30.0)
    async with turns.turn(60):
        began = time.monotonic()
        with pytest.raises(TooSlow):
            async with turns.turn(0.1):
                raise AssertionError("it is another's turn")
        assert 0.09 <= time.monotonic() - began < 10


def test_one_turn_after_another_in_other_loops() -> None:
    turns = OneByOne(30.0)

    async def two() -> None:
        async def one() -> None:
            async with turns.turn(60):
                await asyncio.sleep(0.01)

        await asyncio.wait_for(asyncio.gather(one(), one(), one()), 10)

    for _ in range(2):
        asyncio.run(two())
