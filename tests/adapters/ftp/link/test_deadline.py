"""Deadlines: of a whole operation and of each step; the figures are generous, as machines may be busy."""

import asyncio
from time import perf_counter

import pytest

from adapters.errors import TooSlow
from adapters.ftp.link.deadline import Deadline


@pytest.mark.parametrize("seconds", [0.0, -1.0])
async def test_no_time_at_all(seconds: float) -> None:
    with pytest.raises(TooSlow):
        Deadline.after(seconds)


@pytest.mark.parametrize(("seconds", "patience"), [(0.05, 60.0), (60.0, 0.05)], ids=["deadline", "patience"])
async def test_whichever_is_first(seconds: float, patience: float) -> None:
    began = perf_counter()
    with pytest.raises(TooSlow):
        async with Deadline.after(seconds).step(patience):
            await asyncio.Event().wait()
    assert 0.04 < perf_counter() - began < 5


async def test_many_steps_have_one_deadline() -> None:
    deadline = Deadline.after(0.1)
    with pytest.raises(TooSlow):
        for _ in range(1000):
            async with deadline.step(60.0):
                await asyncio.sleep(0.01)
    assert deadline.left() <= 0
    with pytest.raises(TooSlow):
        async with deadline.step():
            pass


async def test_another_timer_inside_is_not_ours() -> None:
    with pytest.raises(TimeoutError) as caught:
        async with Deadline.after(60.0).step():
            raise TimeoutError
    assert type(caught.value) is TimeoutError


async def test_within() -> None:
    deadline = Deadline.after(1.0)
    assert deadline.within(60.0) == deadline
    assert deadline.within(0.5).left() <= 0.5
