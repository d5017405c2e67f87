"""Large documents in memory: one turn for each request, or for each fetch that several share."""

import asyncio

import pytest

from adapters import limits
from adapters.errors import GatewayFull
from adapters.in_hand import IN_HAND, InHand, holding, in_hand


class Turns:
    """So many of them; whoever comes too late waits for `free`, or is told that there is none."""

    def __init__(self, count: int = 1) -> None:
        self.left = count
        self.free: asyncio.Event | None = None

    async def take(self) -> None:
        if not self.left:
            if self.free is None:
                raise GatewayFull
            await self.free.wait()
        self.left -= 1

    def give_back(self) -> None:
        self.left += 1


LARGE = limits.LARGE_BYTES + 1


async def test_a_request_takes_one_turn_however_often_it_is_large() -> None:
    turns = Turns()
    with holding(turns):
        await in_hand(limits.LARGE_BYTES)
        assert turns.left == 1
        await in_hand(LARGE)
        await in_hand(2 * LARGE)
        assert turns.left == 0
    assert turns.left == 1
    assert IN_HAND.get() is None
    await in_hand(LARGE)  # nobody counts
    assert turns.left == 1


async def test_whoever_gets_none_has_none_to_give_back() -> None:
    turns = Turns(0)
    with pytest.raises(GatewayFull), holding(turns):
        await in_hand(LARGE)
    assert turns.left == 0


async def test_a_shared_fetch_has_its_turn_until_the_last_one_is_done() -> None:
    turns = Turns()
    one, two = InHand(turns), InHand(turns)
    fetch = one.of_shared()
    await fetch.large()
    one.join(fetch)
    two.join(fetch)
    fetch.leave()  # what it fetched is theirs now
    one.leave()
    assert turns.left == 0
    two.leave()
    assert turns.left == 1


async def test_a_turn_that_comes_when_nobody_wants_it_any_more_goes_back() -> None:
    turns = Turns(0)
    turns.free = asyncio.Event()
    hand = InHand(turns)
    waiting = asyncio.create_task(hand.large())
    await asyncio.sleep(0)
    hand.leave()
    turns.left += 1
    turns.free.set()
    await waiting
    assert turns.left == 1
