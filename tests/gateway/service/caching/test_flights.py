"""Single flight: one piece of work, many askers, nobody in anybody's way."""

import asyncio
import gc
from collections.abc import Callable, Coroutine
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters import errors, limits
from adapters.errors import AskedTooOften, FarBusy, GatewayFull, HeadraceError, PathFault
from adapters.in_hand import holding, in_hand
from adapters.recorded.asking import is_late
from gateway.service.caching.flights import Flight, Flights
from tests.gateway.service.caching.virtual_time import run


def work(
    seconds: float, result: int | BaseException, log: list[str]
) -> Callable[..., Coroutine[Any, Any, int]]:
    async def start(_: Flight[int]) -> int:
        log.append("start")
        try:
            await asyncio.sleep(seconds)
        except asyncio.CancelledError as cancelled:
            log.append("late" if is_late(cancelled) else "cancelled")
            raise
        log.append("end")
        if isinstance(result, BaseException):
            raise result
        return result

    return start


def test_many_askers_share_one_piece_of_work() -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        results = await asyncio.gather(*(flights.share("k", work(1, 7, log), 5) for _ in range(100)))
        assert results == [7] * 100
        assert log == ["start", "end"]
        assert flights.since("k") is None

    run(main)


def test_different_keys_do_not_meet() -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        results = await asyncio.gather(*(flights.share(str(n), work(1, n, log), 5) for n in range(3)))
        assert results == [0, 1, 2]

    run(main)


def test_a_shorter_deadline_is_its_askers_own() -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        loop = asyncio.get_running_loop()
        short = asyncio.create_task(flights.share("k", work(3, 7, log), 1))
        long = asyncio.create_task(flights.share("k", work(3, 8, log), 5))
        with pytest.raises(TimeoutError):
            await short
        assert loop.time() == pytest.approx(1)
        assert await long == 7
        assert loop.time() == pytest.approx(3)

    run(main)


def test_a_cancelled_asker_takes_nobody_along() -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        first = asyncio.create_task(flights.share("k", work(3, 7, log), 5))
        second = asyncio.create_task(flights.share("k", work(3, 8, log), 5))
        await asyncio.sleep(1)
        first.cancel()
        assert await second == 7
        assert first.cancelled()
        assert log == ["start", "end"]

    run(main)


@pytest.mark.parametrize("leave", ["cancel", "deadline"])
def test_the_last_one_out_cancels_the_work(leave: str) -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        seconds = 1.0 if leave == "deadline" else 50.0
        askers = [asyncio.create_task(flights.share("k", work(30, 7, log), seconds)) for _ in range(2)]
        await asyncio.sleep(0.5)
        if leave == "cancel":
            for asker in askers:
                asker.cancel()
        await asyncio.gather(*askers, return_exceptions=True)
        assert flights.since("k") is None  # at once, so that a newcomer does not board a dying flight
        assert await flights.share("k", work(1, 9, log), 5) == 9
        why = "late" if leave == "deadline" else "cancelled"
        assert log in (["start", why, "start", "end"], ["start", "start", why, "end"])

    run(main)


def test_a_failure_reaches_every_asker_as_its_own_instance() -> None:
    async def main() -> None:
        flights: Flights[int] = Flights()
        fault = FarBusy("busy", 7)
        asking = [flights.share("k", work(1, fault, []), 5) for _ in range(3)]
        got = await asyncio.gather(*asking, return_exceptions=True)
        assert len({id(each) for each in got} | {id(fault)}) == 4
        for each in got:
            assert isinstance(each, FarBusy)
            assert (each.sentence, each.seconds, each.__cause__) == ("busy", 7, fault)

    run(main)


def test_what_is_outside_the_tree_becomes_the_gateways_failure() -> None:
    async def main() -> None:
        flights: Flights[int] = Flights()
        with pytest.raises(HeadraceError, match="The gateway failed") as caught:
            await flights.share("k", work(0, KeyError("x"), []), 5)
        assert caught.value.code == 451
        assert isinstance(caught.value.__cause__, KeyError)

    run(main)


def _tree(root: type[HeadraceError]) -> list[type[HeadraceError]]:
    return [root, *(each for child in root.__subclasses__() for each in _tree(child))]


def test_every_error_of_the_tree_can_be_passed_on() -> None:
    async def main() -> None:
        for kind in _tree(errors.HeadraceError):
            fault = kind("a sentence")
            with pytest.raises(HeadraceError) as caught:
                await Flights[int]().share("k", work(0, fault, []), 5)
            assert type(caught.value) is kind
            assert caught.value.sentence == "a sentence"
            assert vars(caught.value) == vars(fault)

    run(main)


@pytest.mark.parametrize("fault", [AskedTooOften("wait", 3), PathFault("bad", 5)])
def test_what_an_error_knows_is_passed_on(fault: HeadraceError) -> None:
    async def main() -> None:
        with pytest.raises(type(fault)) as caught:
            await Flights[int]().share("k", work(0, fault, []), 5)
        assert vars(caught.value) == vars(fault)

    run(main)


def test_closing_ends_all_work_and_tells_who_waits() -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        asker = asyncio.create_task(flights.share("k", work(30, 7, log), 50))
        await asyncio.sleep(1)
        await flights.aclose()
        with pytest.raises(GatewayFull):
            await asker
        assert log == ["start", "cancelled"]
        assert len(flights) == 0

    run(main)


def test_detached_work_goes_on_for_who_is_aboard() -> None:
    async def main() -> None:
        log: list[str] = []
        flights: Flights[int] = Flights()
        before = asyncio.create_task(flights.share("ab", work(2, 1, log), 5))
        await asyncio.sleep(1)
        flights.detach("a")
        after = asyncio.create_task(flights.share("ab", work(2, 2, log), 5))
        assert (await before, await after) == (1, 2)

    run(main)


@settings(max_examples=80, deadline=None)
@given(
    takes=st.floats(min_value=0, max_value=4),
    fails=st.booleans(),
    askers=st.lists(
        st.tuples(
            st.floats(min_value=0, max_value=6),  # arrives at
            st.floats(min_value=0.01, max_value=6),  # its seconds
            st.none() | st.floats(min_value=0, max_value=6),  # is cancelled after
        ),
        min_size=1,
        max_size=8,
    ),
)
def test_whoever_comes_and_goes(
    takes: float, fails: bool, askers: list[tuple[float, float, float | None]]
) -> None:
    """Never two pieces of work for one key at a time; each asker gets the result, its own time-out exactly
    at its own time, or its own cancellation; whoever's time covers the whole work gets the result."""

    async def main() -> None:
        flights: Flights[int] = Flights()
        loop = asyncio.get_running_loop()
        under_way: set[asyncio.Task[Any]] = set()

        async def start(_: Flight[int]) -> int:
            me = asyncio.current_task()
            assert me is not None
            assert all(other.cancelling() for other in under_way)  # at most one that is not on its way out
            under_way.add(me)
            try:
                await asyncio.sleep(takes)
            finally:
                under_way.discard(me)
            if fails:
                raise FarBusy
            return 7

        async def ask(arrives: float, seconds: float) -> str:
            await asyncio.sleep(arrives)
            begun = loop.time()
            try:
                assert await flights.share("k", start, seconds) == 7
            except TimeoutError:
                assert loop.time() - begun == pytest.approx(seconds, abs=1e-6)
                assert seconds < takes + 1e-6
                return "late"
            except FarBusy:
                assert fails
                return "busy"
            assert loop.time() - begun <= min(seconds, takes) + 1e-6
            return "got"

        tasks = []
        for arrives, seconds, cancelled in askers:
            task = asyncio.create_task(ask(arrives, seconds))
            if cancelled is not None:
                loop.call_later(cancelled, task.cancel)
            tasks.append(task)
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            assert isinstance(result, asyncio.CancelledError) or result in {"got", "late", "busy"}, result
        await asyncio.sleep(0)
        assert not under_way
        assert len(flights) == 0

    run(main)
    gc.collect()


class _Turns:
    """Turns of large documents, without end."""

    def __init__(self) -> None:
        self.taken = 0

    async def take(self) -> None:
        self.taken += 1

    def give_back(self) -> None:
        self.taken -= 1


@pytest.mark.parametrize("first_leaves", [False, True])
def test_what_is_shared_is_in_hand_once_and_until_the_last_asker_is_done(first_leaves: bool) -> None:
    """Also where whoever began the work has given up meanwhile."""

    async def main() -> None:
        flights: Flights[int] = Flights()
        turns, large, end = _Turns(), asyncio.Event(), asyncio.Event()

        async def start(_: Flight[int]) -> int:
            await in_hand(limits.LARGE_BYTES + 1)
            large.set()
            await end.wait()
            return 7

        async def ask(done: asyncio.Event) -> None:
            with holding(turns):
                assert await flights.share("k", start, 5) == 7
                await done.wait()

        done = [asyncio.Event(), asyncio.Event()]
        askers = [asyncio.create_task(ask(each)) for each in done]
        await large.wait()
        assert turns.taken == 1
        if first_leaves:
            askers[0].cancel()
            await asyncio.wait([askers[0]])
        end.set()
        await asyncio.sleep(0.01)
        done[0].set()
        await asyncio.wait([askers[0]])
        assert turns.taken == 1
        done[1].set()
        await askers[1]
        assert turns.taken == 0

    asyncio.run(main())
