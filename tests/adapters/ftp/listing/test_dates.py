"""Dates of listings: years guessed around New Year and 29 February.

The forms are those of ls(1), common practice."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.ftp.listing.dates import read_date, with_year


def at(*parts: int) -> datetime:
    year, month, day, *rest = parts
    return datetime(year, month, day, *rest, tzinfo=UTC)  # type: ignore[misc,arg-type]


@pytest.mark.parametrize(
    ("now", "written", "expected"),
    [
        # just after New Year, December was last year's
        (at(2026, 1, 1, 0, 5), b"Dec 31 23:59", at(2025, 12, 31, 23, 59)),
        (at(2026, 1, 1, 0, 5), b"Jan 1 00:01", at(2026, 1, 1, 0, 1)),
        # just before it, a server whose clock or zone is ahead writes the new year's first day
        (at(2025, 12, 31, 20, 0), b"Jan 1 06:00", at(2026, 1, 1, 6, 0)),
        (at(2025, 12, 31, 20, 0), b"Jan 2 06:00", at(2025, 1, 2, 6, 0)),
        (at(2025, 12, 31, 20, 0), b"Dec 31 21:30", at(2025, 12, 31, 21, 30)),
        # 29 February is only in leap years, and 1900 and 2100 are none
        (at(2024, 3, 1), b"Feb 29 10:00", at(2024, 2, 29, 10, 0)),
        (at(2024, 2, 28, 12, 0), b"Feb 29 10:00", at(2024, 2, 29, 10, 0)),
        (at(2024, 2, 1), b"Feb 29 10:00", at(2020, 2, 29, 10, 0)),
        (at(2025, 3, 1), b"Feb 29 10:00", at(2024, 2, 29, 10, 0)),
        (at(2103, 3, 1), b"Feb 29 10:00", at(2096, 2, 29, 10, 0)),
        # one minute more than a day ahead is last year's
        (at(2026, 6, 1, 12, 0), b"Jun 2 12:00", at(2026, 6, 2, 12, 0)),
        (at(2026, 6, 1, 12, 0), b"Jun 2 12:01", at(2025, 6, 2, 12, 1)),
        # the other forms
        (at(2026, 6, 1), b"14 Nov 21:05", at(2025, 11, 14, 21, 5)),
        (at(2026, 6, 1), b"nov 14 1999", at(1999, 11, 14)),
        (at(2026, 6, 1), b"14. Nov 1999", at(1999, 11, 14)),
        (at(2026, 6, 1), b"2024-02-29 00:05 x", at(2024, 2, 29, 0, 5)),
        (at(2026, 6, 1), b"2024-02-29 00:05:59.123456789 +0200", at(2024, 2, 28, 22, 5, 59)),
        (at(2026, 6, 1), b"2024-02-29 00:05:59 -05:30", at(2024, 2, 29, 5, 35, 59)),
        (at(2026, 6, 1), b"2024-02-29 00:05 +0200", at(2024, 2, 29, 0, 5)),  # a name
        (at(2026, 6, 1), b"2024-02-29 x", at(2024, 2, 29)),
        (at(2026, 6, 1), b"11-14 21:05", at(2025, 11, 14, 21, 5)),
        # well-formed and impossible: no date, but a date's place
        (at(2026, 6, 1), b"Feb 30 2024", None),
        (at(2026, 6, 1), b"Feb 30 10:00", None),
        (at(2026, 6, 1), b"Jan 1 25:00", None),
        (at(2026, 6, 1), b"2024-02-30 00:05", None),
        (at(2026, 6, 1), b"0000-00-00 00:00", None),
        (at(2026, 6, 1), b"0001-01-01 00:00:00 +0500", None),
    ],
)
def test_dates(now: datetime, written: bytes, expected: datetime | None) -> None:
    found = read_date(written.split(), now)
    assert found is not None
    assert found[1] == expected


@pytest.mark.parametrize(
    "written", [b"", b"x", b"14 15 16", b"Nov 14", b"Nov 14 x", b"Xxx 14 2020", b"14 Nov 14"]
)
def test_no_dates(written: bytes) -> None:
    assert read_date(written.split(), at(2026, 6, 1)) is None


MOMENTS = st.datetimes(datetime(1980, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC))


@given(MOMENTS, st.integers(0, 363 * 1440), st.integers(0, 1440))
def test_any_time_of_the_last_363_days_and_of_the_next_one_is_found(
    now: datetime, ago: int, slack: int
) -> None:
    for moment in (now - timedelta(minutes=ago), now + timedelta(minutes=slack)):
        written = moment.replace(second=0, microsecond=0)
        assert with_year(now, written.month, written.day, written.hour, written.minute) == written
