"""Retry-After (RFC 9110 section 10.2.3) and HTTP-date (section 5.6.7)."""

import json
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from adapters import limits
from adapters.http.answer.dates import http_date
from adapters.http.answer.retry_after import retry_after

CASE = Path(__file__).parents[3] / "cases" / "http-429-retry-after"
EXPECTED = json.loads((CASE / "expected.json").read_text(encoding="utf-8"))
CLOCK = datetime.fromisoformat(EXPECTED["clock"])
ALLOWED: dict[str, set[int | None]] = {
    "default": {None},
    "capped": {limits.RETRY_SECONDS},
    "default or capped": {None, limits.RETRY_SECONDS},
}


@pytest.mark.parametrize(
    ("value", "seconds"), EXPECTED["seconds"], ids=[repr(pair[0]) for pair in EXPECTED["seconds"]]
)
def test_case_429_retry_after(value: str, seconds: int | str) -> None:
    assert retry_after(value, CLOCK) in (ALLOWED[seconds] if isinstance(seconds, str) else {seconds})


def test_the_case_has_all_its_inputs() -> None:
    inputs = json.loads((CASE / "retry-after.json").read_text(encoding="utf-8"))
    assert inputs == [value for value, _ in EXPECTED["seconds"]]


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        (None, None),
        (" 120 ", 120),
        ("0.0", 0),
        ("0.001", 1),
        ("1.", 1),
        ("007", 7),
        ("9" * 5000, limits.RETRY_SECONDS),
        ("0" * 5000 + "7", 7),
        ("86400", 86400),
        ("86400.1", limits.RETRY_SECONDS),
        ("86401", limits.RETRY_SECONDS),
        ("+5", None),
        (".5", None),
        ("1e3", None),
        ("0x10", None),
        ("１２", None),
        ("²", None),
        ("nan", None),
        ("inf", None),
        ("120, 60", None),
        ("Wed, 32 Oct 2015 07:30:00 GMT", None),
        ("Wed, 21 Oct 2015 25:30:00 GMT", None),
        ("Wed, 21 Oct 2015 07:30:00 +0200", None),
        ("Fri, 31 Dec 9999 23:59:59 GMT", limits.RETRY_SECONDS),
        ("Mon, 01 Jan 0001 00:00:00 GMT", 0),
        ("Mon, 01 Jan 0000 00:00:00 GMT", None),
    ],
)
def test_odd_values(value: str | None, seconds: int | None) -> None:
    assert retry_after(value, CLOCK) == seconds


def test_part_of_a_second_is_rounded_up() -> None:
    assert retry_after("Wed, 21 Oct 2015 07:30:00 GMT", CLOCK + timedelta(microseconds=1)) == 120
    assert retry_after("Wed, 21 Oct 2015 07:30:00 GMT", CLOCK + timedelta(seconds=1)) == 119


@given(st.text(max_size=60))
@example("Wed Oct 21 07:30:60 2015")
def test_no_text_is_too_odd(value: str) -> None:
    seconds = retry_after(value, CLOCK)
    assert seconds is None or 0 <= seconds <= limits.RETRY_SECONDS


# RFC 9110 section 5.6.7: one moment in three forms
@pytest.mark.parametrize(
    "text", ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"]
)
def test_the_rfc_s_three_forms(text: str) -> None:
    assert http_date(text, CLOCK) == datetime(1994, 11, 6, 8, 49, 37, tzinfo=UTC)


# RFC 9110 section 5.6.7: "more than 50 years in the future" is the most recent past year of those digits
@pytest.mark.parametrize(
    ("digits", "year"), [("15", 2015), ("65", 2065), ("66", 1966), ("99", 1999), ("00", 2000)]
)
def test_the_century_of_two_digits(digits: str, year: int) -> None:
    found = http_date(f"Sunday, 06-Nov-{digits} 08:49:37 GMT", CLOCK)
    assert found is not None
    assert found.year == year


@given(st.datetimes(min_value=datetime(1, 1, 1), max_value=datetime(9999, 12, 31)))
def test_what_python_writes_is_read(moment: datetime) -> None:
    """Python's email.utils as the reference for IMF-fixdate, time.asctime's form for the other."""
    aware = moment.replace(tzinfo=UTC, microsecond=0)
    assert http_date(format_datetime(aware, usegmt=True), CLOCK) == aware
    assert http_date(aware.ctime(), CLOCK) == aware


def test_a_leap_second_and_a_wrong_weekday() -> None:
    """RFC 9110 section 5.6.7 has seconds up to 60; no clock of ours has."""
    assert http_date("Sat, 31 Dec 2016 23:59:60 GMT", CLOCK) == datetime(2016, 12, 31, 23, 59, 59, tzinfo=UTC)
    assert http_date("Sat, 31 Dec 2016 23:59:61 GMT", CLOCK) is None
    assert http_date("Mon, 06 Nov 1994 08:49:37 GMT", CLOCK) == datetime(1994, 11, 6, 8, 49, 37, tzinfo=UTC)
