"""The cache with a scripted far server in virtual time; the RFC 9111 section stands beside each check."""

import asyncio
import logging
from dataclasses import replace

import pytest

from adapters import limits
from adapters.errors import (
    CannotConnect,
    FarBusy,
    FarFault,
    MayBeDone,
)
from adapters.port import Call, CredentialKind, Credentials, Freshness, Validators
from gateway.service.caching.cache import Cache, How
from tests.gateway.service.caching.far import CALL, MINUTE, PLAIN, SAME, TAGGED, TWO, Far, cached
from tests.gateway.service.caching.virtual_time import clock, run


async def later(seconds: float) -> None:
    await asyncio.sleep(seconds)


# Freshness


def test_a_fresh_copy_answers_without_asking() -> None:
    """RFC 9111 section 4: a stored response that is fresh (section 4.2) satisfies the request."""

    async def main() -> None:
        cache, far = cached(MINUTE, TWO)
        first = await cache.get(CALL, 5, None, None)
        assert (first.how, first.age, first.stale, first.fetched) == (How.FETCHED, 0, False, MINUTE)
        await later(59)
        hit = await cache.get(CALL, 5, None, None)
        assert (hit.how, hit.fetched, hit.serial) == (How.FRESH_MEMORY, MINUTE, first.serial)
        assert hit.age == pytest.approx(59)
        await later(1)
        again = await cache.get(CALL, 5, None, None)
        assert (again.how, again.fetched.body) == (How.FETCHED, b"two")
        assert again.serial != first.serial
        assert far.asked == 2

    run(main)


def test_keep_outranks_what_the_server_says() -> None:
    async def main() -> None:
        cache, far = cached(PLAIN)
        await cache.get(CALL, 5, 600, None)
        await later(599)
        assert (await cache.get(CALL, 5, 600, None)).how is How.FRESH_MEMORY
        await later(1)
        assert (await cache.get(CALL, 5, 600, None)).how is How.FETCHED
        assert far.asked == 2

    run(main)


def test_without_a_word_from_the_server_every_asker_asks() -> None:
    """No heuristic freshness (RFC 9111 section 4.2.2 makes it optional)."""

    async def main() -> None:
        cache, far = cached(PLAIN)
        for _ in range(3):
            assert (await cache.get(CALL, 5, None, None)).how is How.FETCHED
        assert far.asked == 3
        assert cache.memory_bytes == 0  # of no use later, so not kept

    run(main)


def test_one_copy_serves_askers_with_different_wishes() -> None:
    async def main() -> None:
        cache, far = cached(MINUTE, TWO)
        await cache.get(CALL, 5, None, None)
        await later(30)
        assert (await cache.get(CALL, 5, 600, None)).how is How.FRESH_MEMORY
        assert (await cache.get(CALL, 5, 10, None)).how is How.FETCHED
        assert far.asked == 2

    run(main)


def test_the_time_that_the_answer_took_counts() -> None:
    """RFC 9111 section 4.2.3: age includes the response delay."""

    async def main() -> None:
        cache, far = cached((replace(MINUTE, freshness=Freshness(5)), 4.0), TWO)
        assert (await cache.get(CALL, 9, None, None)).age == 0
        await later(0.9)
        assert cache.peek(CALL, None) is not None
        await later(0.2)
        assert cache.peek(CALL, None) is None
        assert far.asked == 1

    run(main)


# Validation


def test_a_304_refreshes_the_copy() -> None:
    """RFC 9111 sections 4.3.1 (the validators sent) and 4.3.4 (the copy freshened)."""

    async def main() -> None:
        says = replace(SAME, freshness=Freshness(30), validators=Validators('"1"'), steps=(("fetch", 0.1),))
        cache, far = cached(TAGGED, says, TWO)
        first = await cache.get(CALL, 5, None, None)
        await later(60)
        kept = await cache.get(CALL, 5, None, None)
        assert far.calls[0].validators == Validators()
        assert far.calls[1].validators == TAGGED.validators
        assert (kept.how, kept.fetched.body, kept.age) == (How.REVALIDATED, b"one", 0)
        assert kept.serial == first.serial  # what was laid out is still good
        assert kept.fetched.steps == (("fetch", 0.1),)
        await later(29)
        assert (await cache.get(CALL, 5, None, None)).how is How.FRESH_MEMORY
        await later(1)
        assert (await cache.get(CALL, 5, None, None)).how is How.FETCHED

    run(main)


def test_no_cache_is_validated_before_every_use() -> None:
    """RFC 9111 section 5.2.2.4; `keep` outranks it."""

    async def main() -> None:
        cache, far = cached(replace(TAGGED, freshness=Freshness(60, no_cache=True)), SAME)
        await cache.get(CALL, 5, None, None)
        assert (await cache.get(CALL, 5, None, None)).how is How.REVALIDATED
        assert (await cache.get(CALL, 5, 60, None)).how is How.FRESH_MEMORY
        assert far.asked == 2

    run(main)


def test_a_304_for_another_document_is_not_believed() -> None:
    """RFC 9111 section 4.3.4: without a matching validator it MUST NOT update what is stored."""

    async def main() -> None:
        cache, far = cached(TAGGED, replace(SAME, validators=Validators('"2"')), TWO)
        await cache.get(CALL, 5, None, None)
        await later(60)
        kept = await cache.get(CALL, 5, None, None)
        assert (kept.how, kept.fetched.body) == (How.FETCHED, b"two")
        assert [bool(call.validators) for call in far.calls] == [False, True, False]

    run(main)


def test_the_time_of_the_answer_that_is_kept_counts() -> None:
    """Not that of a 304 which was not believed before it."""

    async def main() -> None:
        wrong = replace(SAME, validators=Validators('"2"'))
        cache, _ = cached(TAGGED, (wrong, 4.0), replace(TWO, freshness=Freshness(5)))
        await cache.get(CALL, 9, None, None)
        await later(60)
        await cache.get(CALL, 9, None, None)
        await later(4)
        assert cache.peek(CALL, None) is not None

    run(main)


def test_a_304_that_nobody_asked_for_is_a_failing_server() -> None:
    async def main() -> None:
        cache, _ = cached(SAME)
        with pytest.raises(FarBusy):
            await cache.get(replace(CALL, validators=Validators('"mine"')), 5, 60, None)

    run(main)


def test_an_unchanged_document_keeps_its_serial() -> None:
    async def main() -> None:
        cache, _ = cached(replace(MINUTE, steps=(("a", 1.0),)), replace(MINUTE, freshness=Freshness(9)), TWO)
        first, second, third = [await cache.get(CALL, 5, 0, 60) for _ in range(3)]
        assert first.serial == second.serial
        assert third.serial != second.serial

    run(main)


# no-store, methods, keys


def test_no_store_is_kept_only_on_the_catalogues_word() -> None:
    """RFC 9111 section 5.2.2.5."""

    async def main() -> None:
        secret = replace(PLAIN, freshness=Freshness(60, no_store=True), validators=Validators('"1"'))
        cache, far = cached(secret)
        for _ in range(2):
            assert (await cache.get(CALL, 5, None, None)).how is How.FETCHED
        assert not far.calls[1].validators
        assert cache.memory_bytes == 0
        await cache.get(CALL, 5, 60, None)
        assert (await cache.get(CALL, 5, 60, None)).how is How.FRESH_MEMORY
        assert (await cache.get(CALL, 5, None, None)).how is How.FETCHED

    run(main)


def test_an_answer_that_is_no_longer_to_be_kept_takes_the_copy_along() -> None:
    async def main() -> None:
        cache, _ = cached(MINUTE, replace(TWO, freshness=Freshness(None, no_store=True)))
        await cache.get(CALL, 5, None, None)
        await later(60)
        await cache.get(CALL, 5, None, None)
        assert cache.memory_bytes == 0

    run(main)


@pytest.mark.parametrize("call", [replace(CALL, method="POST"), replace(CALL, changes=True)])
def test_what_changes_something_is_never_cached(call: Call) -> None:
    async def main() -> None:
        cache, far = cached(MINUTE)
        for _ in range(2):
            kept = await cache.get(call, 5, 60, 60)
            assert (kept.how, kept.fetched, kept.key) == (How.FETCHED, MINUTE, cache.key_of(call))
            assert cache.peek(call, 60) is None
        assert far.asked == 2
        assert far.spans == [5, 5]
        assert cache.memory_bytes == 0

    run(main)


def test_a_change_makes_what_is_kept_of_its_place_invalid() -> None:
    """RFC 9111 section 4.4: the target URI MUST be invalidated, others MAY be."""

    async def main() -> None:
        cache, far = cached(MINUTE)
        other = replace(CALL, url="https://far.example/other")
        await cache.get(CALL, 5, None, None)
        await cache.get(other, 5, None, None)
        await cache.get(Call("https://far.example/doc", method="POST", changes=True), 5, None, None)
        assert cache.peek(CALL, None) is None
        assert cache.peek(other, None) is not None
        assert far.asked == 3

    run(main)


@pytest.mark.parametrize(("fault", "gone"), [(MayBeDone(), True), (CannotConnect(), False)])
def test_a_change_that_may_have_happened_counts_as_one(fault: FarFault, gone: bool) -> None:
    async def main() -> None:
        cache, _ = cached(MINUTE, fault)
        await cache.get(CALL, 5, None, None)
        with pytest.raises(type(fault)):
            await cache.get(replace(CALL, changes=True, method="PUT"), 5, None, None)
        assert (cache.peek(CALL, None) is None) is gone

    run(main)


def test_a_fetch_begun_before_a_change_is_not_kept_nor_joined() -> None:
    async def main() -> None:
        cache, far = cached((MINUTE, 2.0), replace(TWO, freshness=Freshness(60)))
        before = asyncio.create_task(cache.get(CALL, 5, None, None))
        await later(1)
        cache.forget(CALL.url)
        after = await cache.get(CALL, 5, None, None)
        assert after.fetched.body == b"two"
        assert (await before).fetched.body == b"one"
        hit = cache.peek(CALL, None)
        assert hit is not None
        assert hit.fetched.body == b"two"
        assert far.asked == 2

    run(main)


def test_credentials_do_not_share() -> None:
    async def main() -> None:
        cache, far = cached(MINUTE, replace(TWO, freshness=Freshness(60)))
        mine, yours = (
            replace(CALL, credentials=Credentials(CredentialKind.BEARER, "", secret)) for secret in ("a", "b")
        )
        assert (await cache.get(mine, 5, None, None)).fetched.body == b"one"
        assert (await cache.get(yours, 5, None, None)).fetched.body == b"two"
        assert far.asked == 2

    run(main)


# Memory


def test_memory_is_bounded_and_the_least_used_goes_first() -> None:
    async def main() -> None:
        size = 1000 + limits.COPY_BYTES
        far = Far(replace(MINUTE, body=bytes(1000)))
        cache = Cache(far.fetch, None, clock, memory_bytes=3 * size)
        one, two, three, four = (replace(CALL, url=f"https://far.example/{n}") for n in range(4))
        for call in (one, two, three):
            await cache.get(call, 5, None, None)
        assert cache.memory_bytes == 3 * size
        assert cache.peek(one, None) is not None
        await cache.get(four, 5, None, None)
        assert cache.memory_bytes == 3 * size
        assert [cache.peek(call, None) is not None for call in (one, two, three, four)] == [
            True,
            False,
            True,
            True,
        ]

    run(main)


def test_what_is_larger_than_memory_is_answered_and_not_kept() -> None:
    async def main() -> None:
        far = Far(replace(MINUTE, body=bytes(5000)))
        cache = Cache(far.fetch, None, clock, memory_bytes=4000)
        assert len((await cache.get(CALL, 5, None, None)).fetched.body) == 5000
        assert cache.memory_bytes == 0

    run(main)


def test_peek_takes_a_key_computed_before() -> None:
    async def main() -> None:
        cache, _ = cached(MINUTE)
        key = cache.key_of(CALL)
        assert cache.peek(CALL, None, key) is None
        kept = await cache.get(CALL, 5, None, None, key)
        assert kept.key == key
        assert cache.peek(CALL, None, key) == replace(kept, how=How.FRESH_MEMORY)

    run(main)


def test_a_safe_method_passes_and_nothing_is_forgotten() -> None:
    """RFC 9110 section 9.2.1; RFC 9111 section 4.4 asks it of unsafe methods only."""

    async def main() -> None:
        cache, far = cached(MINUTE, PLAIN, MayBeDone())
        kept = await cache.get(CALL, 5, None, None)
        head = replace(CALL, method="HEAD")
        assert (await cache.get(head, 5, None, None)).how is How.FETCHED
        with pytest.raises(MayBeDone):
            await cache.get(head, 5, None, None)
        assert (await cache.get(CALL, 5, None, None)).serial == kept.serial
        assert far.asked == 3

    run(main)


def test_a_stale_copy_that_was_served_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    async def main() -> None:
        cache, _ = cached(MINUTE, CannotConnect())
        await cache.get(CALL, 5, None, 3_600)
        await later(90)
        assert (await cache.get(CALL, 5, None, 3_600)).stale

    with caplog.at_level(logging.INFO):
        run(main)
    (record,) = [each for each in caplog.records if each.message == "a stale copy was served"]
    assert (vars(record)["age"], vars(record)["origin"]) == (90, "https://far.example:443")
