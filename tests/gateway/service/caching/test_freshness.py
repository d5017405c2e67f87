"""Freshness, against RFC 9111 and RFC 5861; the section stands beside each check."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.port import Fetched, Freshness, Validators
from gateway.service.caching.freshness import (
    Copy,
    Keeping,
    age,
    answers_for,
    is_fresh,
    keeping,
    lifetime,
    may_serve_stale,
    refreshed,
    same_document,
    wanted_later,
)

NOW = 1_700_000_000.0
spans = st.floats(min_value=0, max_value=1e7)
maybe_spans = st.none() | spans


SAYS_NOTHING = Freshness()


def copy(freshness: Freshness = SAYS_NOTHING, ago: float = 0.0, delay: float = 0.0) -> Copy:
    return Copy(Fetched(b"x", freshness=freshness), NOW - ago, delay)


@st.composite
def copies(draw: st.DrawFn) -> Copy:
    says = Freshness(draw(st.none() | st.integers(0, 10**7)), draw(st.booleans()), draw(st.booleans()))
    return copy(says, draw(spans), draw(st.floats(min_value=0, max_value=100)))


@pytest.mark.parametrize(
    ("max_age", "ago", "fresh"),
    [(60, 0, True), (60, 59.9, True), (60, 60, False), (60, 61, False), (0, 0, False), (None, 0, False)],
)
def test_the_servers_word(max_age: int | None, ago: float, fresh: bool) -> None:
    """RFC 9111 section 4.2: response_is_fresh = (freshness_lifetime > current_age); equal is not fresh.
    None: no heuristics, which section 4.2.2 allows but does not ask for."""
    assert is_fresh(copy(Freshness(max_age), ago), NOW, None) is fresh


def test_a_lifetime_counts_from_when_the_request_left() -> None:
    """RFC 9111 section 4.2.3: corrected_age_value = age_value + response_delay."""
    assert lifetime(copy(Freshness(10), delay=4), None) == 6
    assert lifetime(copy(Freshness(3), delay=4), None) == 0
    assert lifetime(copy(Freshness(10), delay=4), 10) == 10  # `keep` counts from when the copy was here


@pytest.mark.parametrize("says", [Freshness(60, no_cache=True), Freshness(60, no_store=True)])
def test_no_cache_and_no_store_are_never_fresh(says: Freshness) -> None:
    """RFC 9111 sections 5.2.2.4 and 5.2.2.5."""
    assert not is_fresh(copy(says), NOW, None)


@pytest.mark.parametrize(
    "says", [Freshness(0), Freshness(None), Freshness(60, no_cache=True), Freshness(1, no_store=True)]
)
def test_keep_outranks_the_server(says: Freshness) -> None:
    """CONTRACT section 4: `keep` - fresh this long."""
    assert is_fresh(copy(says, ago=599), NOW, 600)
    assert not is_fresh(copy(says, ago=600), NOW, 600)
    assert not is_fresh(copy(Freshness(3600), ago=1), NOW, 0)


@given(copies(), maybe_spans, spans, spans)
def test_what_is_not_fresh_never_becomes_fresh_by_waiting(
    kept: Copy, keep: float | None, one: float, two: float
) -> None:
    if is_fresh(kept, NOW + one + two, keep):
        assert is_fresh(kept, NOW + one, keep)


@given(copies(), maybe_spans, maybe_spans, spans)
def test_fresh_stale_and_gone_follow_each_other(
    kept: Copy, keep: float | None, stale: float | None, later: float
) -> None:
    """RFC 5861 section 4: stale-if-error bounds the time past the freshness lifetime."""
    now = NOW + later
    past = (now - kept.taken) - lifetime(kept, keep)
    assert is_fresh(kept, now, keep) == (past < 0)
    assert may_serve_stale(kept, now, keep, stale) == (bool(stale) and past <= (stale or 0))


def test_a_clock_set_back_makes_ages_unknown() -> None:
    """Not in the RFC, whose apparent_age (section 4.2.3) only stops at 0: a small step is 0, a large one
    must not make a copy fresh for years."""
    assert age(copy(ago=-limits.CLOCK_SLACK_SECONDS), NOW) == 0
    assert age(copy(ago=-50 * 365 * 86_400), NOW) == math.inf
    future = copy(Freshness(60), ago=-86_400)
    assert not is_fresh(future, NOW, 3600)
    assert not may_serve_stale(future, NOW, 3600, 3600)


ETAG = Validators('"a"')


@pytest.mark.parametrize(
    ("fetched", "wanted", "where"),
    [
        (Fetched(b"", freshness=Freshness(60)), False, Keeping.DISK),
        (Fetched(b"", freshness=Freshness(0)), False, Keeping.NOWHERE),
        (Fetched(b"", freshness=Freshness(60, no_cache=True)), False, Keeping.NOWHERE),
        (Fetched(b"", freshness=Freshness(0), validators=ETAG), False, Keeping.DISK),
        (Fetched(b""), False, Keeping.NOWHERE),
        (Fetched(b""), True, Keeping.DISK),
        (Fetched(b"", validators=ETAG), False, Keeping.DISK),
        (Fetched(b"", freshness=Freshness(60, no_store=True), validators=ETAG), False, Keeping.NOWHERE),
        (Fetched(b"", freshness=Freshness(60, no_store=True)), True, Keeping.MEMORY),
        (Fetched(b"", status=206, freshness=Freshness(60)), True, Keeping.NOWHERE),
        (Fetched(b"", status=202, freshness=Freshness(60)), True, Keeping.NOWHERE),
        (Fetched(b"", status=204, freshness=Freshness(60)), True, Keeping.DISK),
        (Fetched(b"", not_modified=True), True, Keeping.NOWHERE),
    ],
)
def test_where_an_answer_may_be_kept(fetched: Fetched, wanted: bool, where: Keeping) -> None:
    """RFC 9111 section 3, and section 3.3 for parts (206)."""
    assert keeping(fetched, wanted) is where


@pytest.mark.parametrize(
    ("keep", "stale", "wanted"),
    [(None, None, False), (0, None, False), (0, 0, False), (1, None, True), (None, 1, True), (0, 1, True)],
)
def test_wishes(keep: float | None, stale: float | None, wanted: bool) -> None:
    assert wanted_later(keep, stale) is wanted


@pytest.mark.parametrize(
    ("kept", "answer", "same"),
    [
        (Validators('"a"'), Validators('"a"'), True),  # section 4.3.4: the same strong validator
        (Validators('"a"'), Validators('"b"'), False),  # "MUST NOT use the new response to update"
        (Validators('W/"a"'), Validators('W/"a"'), True),
        (Validators('W/"a"'), Validators('"a"'), True),  # weak comparison, RFC 9110 section 8.8.3.2
        (Validators('"a"', "Tue"), Validators(None, "Wed"), True),  # the tag was what was asked
        (Validators(None, "Tue"), Validators(None, "Tue"), True),
        (Validators(None, "Tue"), Validators(None, "Wed"), False),
        (Validators(None, "Tue"), Validators('"a"'), False),
        (Validators('"a"'), Validators(), True),
    ],
)
def test_which_copy_a_304_speaks_of(kept: Validators, answer: Validators, same: bool) -> None:
    """RFC 9111 section 4.3.4."""
    assert answers_for(kept, answer) is same


def test_a_304_updates_what_is_said_and_leaves_the_body() -> None:
    """RFC 9111 sections 3.2 and 4.3.4."""
    kept = Fetched(
        b"body", "text/csv", "utf-8", 200, Validators('"a"', "Tue"), Freshness(10), origin="https://one:443"
    )
    says = Fetched(
        b"",
        validators=Validators('"a"', "Wed"),
        freshness=Freshness(99),
        not_modified=True,
        steps=(("x", 1.0),),
    )
    assert refreshed(kept, says) == replace(
        kept, validators=Validators('"a"', "Wed"), freshness=Freshness(99), steps=(("x", 1.0),)
    )


def test_a_304_that_says_nothing_changes_nothing() -> None:
    kept = Fetched(b"body", "text/csv", "utf-8", 200, Validators('"a"', "Tue"), Freshness(10))
    assert refreshed(kept, Fetched(b"", not_modified=True)) == kept


def test_a_304_may_rename_the_kind() -> None:
    kept = Fetched(b"body", "text/csv", "utf-8")
    changed = refreshed(kept, Fetched(b"", "text/plain", None, not_modified=True))
    assert (changed.media_type, changed.charset) == ("text/plain", None)
    assert not same_document(kept, changed)
    assert same_document(kept, replace(kept, freshness=Freshness(1), steps=(("x", 1.0),)))
