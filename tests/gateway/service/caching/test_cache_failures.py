"""The cache while the far server fails, hangs or is asked by many at once."""

import asyncio
from dataclasses import replace

import pytest

from adapters import limits
from adapters.errors import (
    AskedTooOften,
    BrokenOff,
    CannotConnect,
    CredentialsRefused,
    FarBusy,
    FarFault,
    HeadraceError,
    NotAllowed,
    NotThere,
    TooLarge,
    TooSlow,
    Untrusted,
    WrongDocument,
)
from adapters.port import Freshness
from gateway.service.caching.cache import PASSING, Cache, How, Kept
from tests.gateway.service.caching.far import CALL, MINUTE, PLAIN, TWO, Far, cached
from tests.gateway.service.caching.virtual_time import clock, run


async def later(seconds: float) -> None:
    await asyncio.sleep(seconds)


# stale-if-error


@pytest.mark.parametrize("fault", [kind() for kind in PASSING])
def test_a_stale_copy_stands_in_for_a_failing_server(fault: FarFault) -> None:
    """RFC 5861 section 4."""

    async def main() -> None:
        cache, far = cached(MINUTE, fault)
        first = await cache.get(CALL, 5, None, 3600)
        await later(90)
        kept = await cache.get(CALL, 5, None, 3600)
        assert (kept.how, kept.stale, kept.serial) == (How.STALE, True, first.serial)
        assert kept.age == pytest.approx(90)
        assert far.asked == 2

    run(main)


@pytest.mark.parametrize(
    "fault",
    [Untrusted(), CredentialsRefused(), NotThere(), NotAllowed("no"), WrongDocument(), TooLarge()],
)
def test_an_answer_or_a_refusal_is_never_papered_over(fault: HeadraceError) -> None:
    async def main() -> None:
        cache, _ = cached(MINUTE, fault)
        await cache.get(CALL, 5, None, 3600)
        await later(61)
        for _ in range(2):
            with pytest.raises(type(fault)):
                await cache.get(CALL, 5, None, 3600)

    run(main)


@pytest.mark.parametrize("answer", [NotThere(), CredentialsRefused()])
def test_what_the_server_withdrew_does_not_come_back(answer: FarFault) -> None:
    """RFC 9111 section 4.3.3: a full response says that no stored one is suitable."""

    async def main() -> None:
        cache, _ = cached(MINUTE, answer, TooSlow())
        await cache.get(CALL, 5, None, 3600)
        await later(61)
        for kind in (type(answer), TooSlow):
            with pytest.raises(kind):
                await cache.get(CALL, 5, None, 3600)
        assert cache.memory_bytes == 0

    run(main)


def test_a_copy_is_served_only_so_long() -> None:
    async def main() -> None:
        cache, _ = cached(MINUTE, CannotConnect())
        await cache.get(CALL, 5, None, 100)
        await later(160)
        assert (await cache.get(CALL, 5, None, 100)).stale
        with pytest.raises(CannotConnect):
            await cache.get(CALL, 5, None, None)
        await later(1)
        with pytest.raises(CannotConnect):
            await cache.get(CALL, 5, None, 100)

    run(main)


def test_a_hanging_server_and_a_stale_copy_answer_in_time() -> None:
    async def main() -> None:
        cache, far = cached(MINUTE, (TWO, None))
        await cache.get(CALL, 5, None, 3600)
        await later(60)
        begun = clock()
        assert (await cache.get(CALL, 30, None, 3600)).stale
        assert clock() - begun == pytest.approx(30 - limits.STALE_MARGIN_SECONDS)
        await later(0)
        assert far.cancelled == 1
        assert (await cache.get(CALL, 30, None, 3600)).stale  # at once: it failed just now
        assert far.asked == 2

    run(main)


def test_without_a_copy_a_hanging_server_is_too_slow_in_time() -> None:
    async def main() -> None:
        cache, far = cached((PLAIN, None))
        begun = clock()
        with pytest.raises(TooSlow):
            await cache.get(CALL, 7, 60, 3600)
        assert clock() - begun == pytest.approx(7)
        await later(0)
        assert far.cancelled == 1

    run(main)


def test_after_a_failure_the_server_is_left_alone_while_a_copy_serves() -> None:
    async def main() -> None:
        cache, far = cached(MINUTE, BrokenOff(), TWO)
        await cache.get(CALL, 5, None, 3600)
        await later(60)
        for _ in range(50):
            assert (await cache.get(CALL, 5, None, 3600)).stale
        assert far.asked == 2
        await later(limits.FAILURE_PAUSE_SECONDS)
        assert (await cache.get(CALL, 5, None, 3600)).fetched.body == b"two"

    run(main)


def test_an_answer_ends_the_pause() -> None:
    async def main() -> None:
        cache, far = cached(MINUTE, BrokenOff(), replace(TWO, freshness=Freshness(60)))
        await cache.get(CALL, 5, None, 3600)
        await later(60)
        assert (await cache.get(CALL, 5, None, 3600)).stale
        assert not (await cache.get(CALL, 5, None, None)).stale
        assert not (await cache.get(CALL, 5, 0, 3600)).stale
        assert far.asked == 4

    run(main)


def test_who_may_not_have_a_stale_copy_asks_again_at_once() -> None:
    async def main() -> None:
        cache, far = cached(BrokenOff(), MINUTE)
        with pytest.raises(BrokenOff):
            await cache.get(CALL, 5, None, None)
        assert (await cache.get(CALL, 5, None, None)).how is How.FETCHED
        assert far.asked == 2

    run(main)


@pytest.mark.parametrize("kind", [AskedTooOften, FarBusy])
def test_retry_after_is_respected(kind: type[AskedTooOften] | type[FarBusy]) -> None:
    """RFC 9110 section 10.2.3, and cases/http-429-retry-after: tell the seconds, do not sleep."""

    async def main() -> None:
        cache, far = cached(kind("wait", 120), MINUTE)
        with pytest.raises(kind) as first:
            await cache.get(CALL, 5, None, None)
        await later(100)
        begun = clock()
        with pytest.raises(kind) as second:
            await cache.get(CALL, 5, None, None)
        assert (first.value.seconds, second.value.seconds) == (120, 20)
        assert second.value.sentence == "wait"
        assert (far.asked, clock()) == (1, begun)
        await later(20)
        assert (await cache.get(CALL, 5, None, None)).how is How.FETCHED

    run(main)


def test_retry_after_with_a_stale_copy() -> None:
    async def main() -> None:
        cache, far = cached(MINUTE, AskedTooOften("wait", 120), TWO)
        await cache.get(CALL, 5, None, 3600)
        await later(60)
        for _ in range(10):
            assert (await cache.get(CALL, 5, None, 3600)).stale
            await later(11)
        assert far.asked == 2
        with pytest.raises(AskedTooOften):
            await cache.get(CALL, 5, None, None)
        await later(10)
        assert not (await cache.get(CALL, 5, None, 3600)).stale

    run(main)


# Single flight


def test_many_askers_one_fetch() -> None:
    """RFC 9111 section 4: collapsing requests."""

    async def main() -> None:
        cache, far = cached((PLAIN, 1.0))
        kept = await asyncio.gather(*(cache.get(CALL, 5, None, None) for _ in range(100)))
        assert far.asked == 1
        assert {(each.how, each.fetched, each.serial) for each in kept} == {(How.FETCHED, PLAIN, 1)}

    run(main)


def test_an_asker_who_wants_it_later_decides_that_it_is_kept() -> None:
    async def main() -> None:
        cache, far = cached((replace(PLAIN, freshness=Freshness(no_store=True)), 1.0))
        await asyncio.gather(cache.get(CALL, 5, None, None), cache.get(CALL, 5, 60, None))
        assert cache.peek(CALL, 60) is not None
        assert far.asked == 1

    run(main)


def test_the_first_askers_short_time_does_not_bind_the_others() -> None:
    async def main() -> None:
        cache, far = cached((PLAIN, 20.0))
        short = asyncio.create_task(cache.get(CALL, 2, None, None))
        await later(1)
        long = asyncio.create_task(cache.get(CALL, 30, None, None))
        with pytest.raises(TooSlow):
            await short
        assert (await long).fetched == PLAIN
        assert far.asked == 1

    run(main)


def test_who_boards_late_gets_another_flight() -> None:
    """The shared fetch ends at its own limit; who still has time then is not told of others' lateness."""

    async def main() -> None:
        far = Far((TooSlow(), limits.FLIGHT_SECONDS), (PLAIN, 3.0))
        cache = Cache(far.fetch, None, clock)
        patient = [asyncio.create_task(cache.get(CALL, 30, None, None))]
        for _ in range(4):
            await later(14.9)
            patient.append(asyncio.create_task(cache.get(CALL, 30, None, None)))
        results = await asyncio.gather(*patient, return_exceptions=True)
        assert [isinstance(each, Kept) for each in results] == [False, False, False, True, True]
        assert far.asked == 2

    run(main)


def test_closing_leaves_nothing_behind() -> None:
    async def main() -> None:
        cache, far = cached((PLAIN, None))
        asker = asyncio.create_task(cache.get(CALL, 50, None, None))
        await later(1)
        await cache.aclose()
        with pytest.raises(HeadraceError):
            await asker
        assert (far.cancelled, far.running) == (1, 0)

    run(main)
