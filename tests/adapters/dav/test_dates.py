"""Dates of listings: RFC 9110 section 5.6.7, RFC 5322 section 3.3, RFC 3339 section 5.6, and nonsense."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.dav.dates import dav_date

NOW = datetime(2026, 11, 26, tzinfo=UTC)
LEAP_DAY = datetime(2024, 2, 29, 10, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "Thu, 29 Feb 2024 10:15:00 GMT",  # IMF-fixdate
        "Thursday, 29-Feb-24 10:15:00 GMT",  # RFC 850
        "Thu Feb 29 10:15:00 2024",  # asctime()
        "Thu, 29 Feb 2024 11:15:00 +0100",  # RFC 5322
        "29 Feb 2024 10:15 GMT",  # RFC 5322 without what may be left out
        "29 Feb 2024 05:15:00 -0500",
        "2024-02-29T10:15:00Z",  # RFC 3339, as creationdate has it
        "2024-02-29T11:15:00+01:00",
        "2024-02-29T10:15:00.000Z",
        "2024-02-29 10:15:00",  # no zone: RFC 4918 knows only UTC
        "2024-02-29t10:15z",
        "  Thu, 29 Feb 2024 10:15:00 GMT\n",
    ],
)
def test_each_form_is_the_same_moment(text: str) -> None:
    assert dav_date(text, NOW) == LEAP_DAY


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "0",
        "never",
        "Invalid Date",
        "Thu, 30 Feb 2024 10:15:00 GMT",
        "Thu, 29 Feb 2023 10:15:00 GMT",
        "29 Feb 2024 25:61:00 GMT",
        "29 Foo 2024 10:15:00 GMT",
        "29 Feb 2024 10:15:00 CET",  # which may be many zones
        "29 Feb 2024 10:15:00 +9999",
        "2024-13-01T00:00:00Z",
        "2024-02-30T10:15:00Z",
        "Mon, 01 Jan 0001 00:00:00 GMT",
        "Mon, 01 Jan 1601 00:00:00 GMT",
        "0001-01-01T00:00:00+01:00",  # before the first moment there is, in UTC
        "9999-12-31T23:59:59-01:00",
        "Fri, 31 Dec 9999 23:59:59 GMT",
        "Fri, 31 Dec 99999 00:00:00 GMT",
        "1709201700",
        "9" * 5_000,
        "\N{ARABIC-INDIC DIGIT TWO}024-02-29T10:15:00Z",
    ],
)
def test_nonsense_is_no_date_and_no_error(text: str) -> None:
    assert dav_date(text, NOW) is None


@given(st.text(max_size=60))
def test_any_text_is_a_date_or_none(text: str) -> None:
    moment = dav_date(text, NOW)
    assert moment is None or moment.utcoffset() == timedelta(0)


@given(
    st.datetimes(
        datetime(1901, 1, 1),
        datetime(2100, 1, 1),
        timezones=st.just(UTC),
    )
)
def test_every_second_there_and_back(moment: datetime) -> None:
    moment = moment.replace(microsecond=0)
    assert dav_date(moment.strftime("%a, %d %b %Y %H:%M:%S GMT"), NOW) == moment
    assert dav_date(moment.isoformat(), NOW) == moment
