"""Turns, and the part of them that one far server may have (see also test_crowd.py)."""

import asyncio

import pytest

from adapters.errors import GatewayFull
from gateway.service.shares import Shares


def ends(seconds: float = 5.0) -> float:
    return asyncio.get_running_loop().time() + seconds


async def test_a_server_has_a_quarter_and_at_least_one() -> None:
    shares = Shares(lambda: 8, lambda: 0, "Full")
    await shares.take("a", ends())
    await shares.take("a", ends())
    with pytest.raises(GatewayFull, match="Full"):
        await shares.take("a", ends())
    few = Shares(lambda: 2, lambda: 0, "Full")
    await few.take("a", ends())
    await few.take("", ends())
    with pytest.raises(GatewayFull):
        await few.take("b", ends())


async def test_who_waits_comes_in_order_and_past_those_of_a_server_that_is_busy() -> None:
    shares = Shares(lambda: 4, lambda: 9, "Full")
    order: list[str] = []

    async def take(server: str, name: str) -> None:
        await shares.take(server, ends())
        order.append(name)

    await shares.take("a", ends())
    tasks = [asyncio.create_task(take("a", each)) for each in ("a2", "a3")]
    await asyncio.sleep(0)
    await take("b", "b1")
    assert (order, shares.count, shares.waiting) == (["b1"], 2, 2)
    for _ in tasks:
        shares.give_back("a")
        await asyncio.sleep(0)
    assert order == ["b1", "a2", "a3"]


async def test_nobody_waits_beyond_the_end() -> None:
    shares = Shares(lambda: 1, lambda: 9, "Full")
    await shares.take("", ends())
    with pytest.raises(GatewayFull):
        await shares.take("", ends(0.01))
    with pytest.raises(GatewayFull):
        await shares.take("", ends(-1))
    assert (shares.count, shares.waiting) == (1, 0)


async def test_one_turn_that_is_free_is_one_more_and_no_more() -> None:
    shares = Shares(lambda: 1, lambda: 9, "Full")
    await shares.take("", ends())
    waiting = [asyncio.create_task(shares.take("", ends())) for _ in range(3)]
    await asyncio.sleep(0)
    for left in (2, 1, 0):
        shares.give_back("")
        await asyncio.sleep(0)
        assert (shares.count, shares.waiting) == (1, left)
    await asyncio.gather(*waiting)
