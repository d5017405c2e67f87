import asyncio
import sys
import threading

import pytest

from adapters import limits
from gateway.testing.background import OWNER, Background, StillRunning


async def owner() -> object:
    return OWNER.get()


def test_results_and_exceptions_come_back() -> None:
    loop = Background("of-a-test")
    try:
        assert loop.run(asyncio.sleep(0, "done"), 5) == "done"

        async def fails() -> None:
            raise LookupError("none")

        async def gives_up() -> None:
            raise TimeoutError("its own")

        with pytest.raises(LookupError, match="none"):
            loop.run(fails(), 5)
        with pytest.raises(TimeoutError, match="its own"):
            loop.run(gives_up(), 5)
    finally:
        loop.stop()


def test_tasks_and_threads_know_whose_they_are() -> None:
    one, other = Background("one"), Background("other")
    try:

        async def in_a_task() -> object:
            return await asyncio.create_task(owner())

        async def in_a_thread() -> object:
            return await asyncio.to_thread(OWNER.get)

        assert (one.run(in_a_task(), 5), other.run(in_a_thread(), 5)) == (one, other)
        assert OWNER.get() is None, "nothing of it stays with the test"
    finally:
        one.stop()
        other.stop()


def test_what_takes_too_long_is_cancelled() -> None:
    loop = Background("slow-one")
    ended = threading.Event()

    async def for_ever() -> None:
        try:
            await asyncio.sleep(3600)
        finally:
            ended.set()

    with pytest.raises(StillRunning, match=r"slow-one took longer than 0\.01 s"):
        loop.run(for_ever(), 0.01)
    assert ended.wait(5)
    loop.stop()
    loop.stop()
    assert "slow-one" not in {each.name for each in threading.enumerate()}


def test_stopping_cancels_what_still_runs() -> None:
    loop = Background("stopped-one")
    ended = threading.Event()

    async def begin() -> None:
        async def for_ever() -> None:
            try:
                await asyncio.sleep(3600)
            finally:
                ended.set()

        kept.append(asyncio.create_task(for_ever()))
        await asyncio.sleep(0)

    kept: list[asyncio.Task[None]] = []
    loop.run(begin(), 5)
    loop.stop()
    assert ended.is_set()


def test_a_loop_that_cannot_be_made() -> None:
    def fails() -> asyncio.AbstractEventLoop:
        raise OSError("no descriptor")

    with pytest.raises(OSError, match="no descriptor"):
        Background("never", fails)


def test_who_still_waits_when_it_is_stopped_is_told() -> None:
    """A thread of the test's own that asks, while the fixture ends."""
    loop = Background("left-one")
    begun, outcome = threading.Event(), list[BaseException]()

    async def for_ever() -> None:
        begun.set()
        await asyncio.sleep(3600)

    def ask() -> None:
        try:
            loop.run(for_ever(), 60)
        except StillRunning as error:
            outcome.append(error)

    asking = threading.Thread(target=ask)
    asking.start()
    assert begun.wait(5)
    loop.stop()
    asking.join(5)
    assert [str(each) for each in outcome] == ["left-one ended"]


def test_what_ends_the_loop_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """SystemExit ends any asyncio loop. Whoever asked gets it; pytest, which hears of threads that end
    so, fails the test where nobody did.
    """
    heard = list[object]()
    monkeypatch.setattr(threading, "excepthook", lambda told: heard.append(told.exc_type))
    loop = Background("leaving-one")

    async def leave() -> None:
        sys.exit("enough")

    with pytest.raises(SystemExit, match="enough"):
        loop.run(leave(), 5)
    loop.stop()
    assert "leaving-one" not in {each.name for each in threading.enumerate()}
    assert heard == [SystemExit]


def test_a_loop_that_is_held_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopping waits for no callback that never comes back."""
    loop = Background("held-one")
    held, over = threading.Event(), threading.Event()

    async def hold() -> None:
        def never() -> None:
            held.set()
            over.wait(60)

        asyncio.get_running_loop().call_later(0.02, never)

    loop.run(hold(), 5)
    assert held.wait(5)
    monkeypatch.setattr(limits, "TESTING_STOP_SECONDS", 0.02)
    with pytest.raises(StillRunning, match="held-one did not end"):
        loop.stop()
    over.set()
    monkeypatch.undo()
    loop.stop()
    assert "held-one" not in {each.name for each in threading.enumerate()}
