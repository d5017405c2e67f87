"""Cache-Control, Expires, Age (RFC 9111). "Now" is 6 November 1994, 08:49:37, as in RFC 9110's examples."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.http.answer.fields import Fields
from adapters.http.answer.freshness import freshness
from adapters.port import Freshness

NOW = datetime(1994, 11, 6, 8, 49, 37, tzinfo=UTC)
DATE = "Date: Sun, 06 Nov 1994 08:49:37 GMT"
MINUTE_LATER = "Expires: Sun, 06 Nov 1994 08:50:37 GMT"


def fields(*lines: str) -> Fields:
    pairs = [line.partition(":") for line in lines]
    return Fields([(name.encode("latin-1"), value.encode("latin-1")) for name, _, value in pairs])


def max_age(*lines: str, delay: float = 0.0) -> int | None:
    return freshness(fields(*lines), NOW, delay).max_age


def test_a_server_that_says_nothing_is_not_guessed_for() -> None:
    """RFC 9111 section 4.2.2 would permit it; the contract does not."""
    assert freshness(fields(DATE, "Last-Modified: Sun, 06 Nov 1904 08:49:37 GMT"), NOW) == Freshness()
    assert freshness(fields("Cache-Control: public, s-maxage=60"), NOW) == Freshness()


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        ("max-age=60", 60),
        ("MAX-AGE=60", 60),
        ("public,max-age=60", 60),
        (",, public ,\tmax-age=60 ,", 60),
        ('max-age="60"', 60),  # section 5.2: accept both forms
        ("max-age = 60", 60),
        ("max-age=0", 0),
        ("max-age=0060", 60),
        ("max-age=99999999999999999999", 2**31),  # section 1.2.2
        ("max-age=60, max-age=30", 60),  # section 4.2.1: the first, or stale
        ('ext="a, max-age=7", max-age=60', 60),
        ('ext="a\\", max-age=7", max-age=60', 60),
        ("s-maxage=5, max-age=60", 60),
        # invalid: "encouraged to consider responses ... to be stale" (section 4.2.1)
        ("max-age", 0),
        ("max-age=", 0),
        ("max-age=-1", 0),
        ("max-age=60.5", 0),
        ("max-age=soon", 0),
        ("max-age=١", 0),
        # no directive of that name at all
        ("max-age60", None),
        ("private", None),
        ("=60", None),
        ('"max-age=60"', None),
        ("max-age=60 seconds", None),
        ("", None),
        (" , ,", None),
    ],
)
def test_max_age(value: str, seconds: int | None) -> None:
    assert max_age(f"Cache-Control: {value}".encode().decode("latin-1")) == seconds


def test_directives_over_several_lines() -> None:
    """RFC 9110 section 5.3: field lines of one name are one list."""
    found = freshness(fields("Cache-Control: no-cache", "cache-control: max-age=60, no-store"), NOW)
    assert found == Freshness(max_age=60, no_store=True, no_cache=True)


@pytest.mark.parametrize(
    "value", ["no-store", "NO-STORE", 'no-store="x"', "garbage ((, no-store", "max-age=1;x, no-store"]
)
def test_no_store(value: str) -> None:
    assert freshness(fields(f"Cache-Control: {value}"), NOW).no_store


@pytest.mark.parametrize("value", ["no-cache", 'no-cache="Set-Cookie, X"', "no-cache=Set-Cookie"])
def test_no_cache(value: str) -> None:
    found = freshness(fields(f"Cache-Control: {value}"), NOW)
    assert found.no_cache
    assert not found.no_store


def test_no_store_inside_a_quoted_value_is_none() -> None:
    assert not freshness(fields('Cache-Control: ext="no-store, no-cache"'), NOW).no_store


@pytest.mark.parametrize(
    ("lines", "seconds"),
    [
        ((DATE, MINUTE_LATER), 60),
        ((MINUTE_LATER,), 60),  # no Date: counted from now (RFC 9110 section 6.6.1)
        (("Date: Sun, 06 Nov 1994 08:50:07 GMT", MINUTE_LATER), 30),  # the server's own clock counts
        (("Date: nonsense", MINUTE_LATER), 60),
        ((DATE, "Expires: Sun, 06 Nov 1994 08:48:37 GMT"), 0),
        ((DATE, "Expires: 0"), 0),  # section 5.3
        ((DATE, "Expires: -1"), 0),
        ((DATE, "Expires: "), 0),
        ((DATE, "Expires: Sunday, 06-Nov-94 08:50:37 GMT"), 60),
        ((DATE, MINUTE_LATER, "Expires: Sun, 06 Nov 1994 09:50:37 GMT"), 60),
        ((DATE, MINUTE_LATER, "Cache-Control: max-age=5"), 5),  # section 5.3: max-age overrides
        ((DATE, MINUTE_LATER, "Cache-Control: max-age=x"), 0),
        ((DATE, MINUTE_LATER, "Cache-Control: s-maxage=5"), 60),
    ],
)
def test_expires(lines: tuple[str, ...], seconds: int) -> None:
    assert max_age(*lines) == seconds


@pytest.mark.parametrize(
    ("age", "seconds"),
    [
        ("20", 40),
        ("0", 60),
        ("60", 0),
        ("9999", 0),
        ("-5", 60),
        ("soon", 60),
        ("20, 30", 40),
        ("9" * 30, 0),
        ("", 60),
    ],
)
def test_age_is_taken_off(age: str, seconds: int) -> None:
    """Sections 4.2.3 and 5.1: the first value of a list, and none that is no number."""
    assert max_age("Cache-Control: max-age=60", f"Age: {age}") == seconds


def test_the_time_it_took_is_taken_off() -> None:
    """Section 4.2.3, response_delay."""
    assert max_age("Cache-Control: max-age=60", "Age: 10", delay=5.9) == 45


def test_a_wrong_clock_at_home_does_no_harm() -> None:
    """Section 4.2.3 permits leaving apparent_age out."""
    assert max_age("Date: Sun, 06 Nov 1994 06:00:00 GMT", "Cache-Control: max-age=60") == 60


@pytest.mark.parametrize(
    ("value", "validated"), [("*", True), ("Accept, *", True), ("Accept-Encoding", False), ("", False)]
)
def test_vary(value: str, validated: bool) -> None:
    """Section 4.1: `*` never matches."""
    assert freshness(fields(f"Vary: {value}"), NOW).no_cache is validated


def test_a_part_is_not_kept() -> None:
    """Section 3.3."""
    assert freshness(fields("Cache-Control: max-age=60"), NOW, status=206).no_store


@given(st.text(alphabet=st.sampled_from('max-agenostr=",;\\ 0123456789\t()é'), max_size=200))
def test_no_value_is_too_odd(value: str) -> None:
    found = freshness(
        fields(f"Cache-Control: {value}", f"Expires: {value}", f"Age: {value}", f"Vary: {value}"), NOW
    )
    assert found.max_age is not None
    assert found.max_age >= 0


def test_a_long_garbled_value_takes_no_time() -> None:
    value = 'a="\\",' * 10_000 + "max-age=60"
    assert max_age(f"Cache-Control: {value}") in (60, None)
