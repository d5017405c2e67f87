"""Dates: RFC 3339, ISO 8601, RFC 5322 and epochs, against datetime, email.utils and zoneinfo."""

from datetime import UTC, date, datetime, time, timedelta, timezone
from email.utils import format_datetime, parsedate_to_datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.fields.dates import CLOCK, EVERYTHING, MONTH, WHOLE_DATE, YEAR, Moment, read
from gateway.extract.values import MISSING, JsonNumber, Value

offsets = st.integers(-23 * 60 - 59, 23 * 60 + 59).map(lambda minutes: timezone(timedelta(minutes=minutes)))
aware = st.datetimes(timezones=offsets)


def stamp(value: Value) -> datetime:
    moment = read(value)
    assert moment is not None
    return moment.stamp


# RFC 3339


@pytest.mark.parametrize(
    ("text", "instant"),
    [  # section 5.8, all five, with the UTC instants that it tells
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        ("1990-12-31T23:59:60Z", datetime(1990, 12, 31, 23, 59, 59, tzinfo=UTC)),  # the leap second's minute
        ("1990-12-31T15:59:60-08:00", datetime(1990, 12, 31, 23, 59, 59, tzinfo=UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC)),
    ],
)
def test_rfc_3339_examples(text: str, instant: datetime) -> None:
    assert read(text) == Moment(stamp(text), EVERYTHING)
    assert stamp(text) == instant
    assert stamp(text.lower()) == stamp(text.replace("T", " ")) == instant  # section 5.6, the notes


def test_rfc_3339_unknown_local_offset_is_utc() -> None:
    assert stamp("1985-04-12T23:20:50-00:00") == datetime(1985, 4, 12, 23, 20, 50, tzinfo=UTC)  # section 4.3


@given(aware)
def test_what_datetime_writes_is_read_back(moment: datetime) -> None:
    assert stamp(moment.isoformat()) == moment
    assert stamp(moment.isoformat()).utcoffset() == moment.utcoffset()


@given(st.datetimes())
def test_without_a_zone_there_is_no_offset(moment: datetime) -> None:
    assert stamp(moment.isoformat(" ")) == moment
    assert stamp(moment.isoformat()).tzinfo is None


@given(st.text("0123456789-:TZ+.W ", max_size=30))
def test_nothing_that_datetime_reads_is_read_otherwise(text: str) -> None:
    moment = read(text)
    try:
        wanted = datetime.fromisoformat(text)
    except ValueError:
        return
    if moment is not None and moment.parts == EVERYTHING and not text.isdigit():
        assert moment.stamp.replace(tzinfo=None) == wanted.replace(tzinfo=None)
        assert moment.stamp.utcoffset() == wanted.utcoffset()


# ISO 8601: the forms of the 2004 and 2019 editions, examples made from their rules


@given(st.dates())
def test_iso_dates(day: date) -> None:
    year, week, weekday = day.isocalendar()
    forms = [
        day.isoformat(),
        f"{day.year:04d}{day.month:02d}{day.day:02d}",
        f"{day.year:04d}-{day.timetuple().tm_yday:03d}",
        f"{day.year:04d}{day.timetuple().tm_yday:03d}",
    ]
    if 1 <= year <= 9999:
        forms += [f"{year:04d}-W{week:02d}-{weekday}", f"{year:04d}W{week:02d}{weekday}"]
    for form in forms:
        assert read(form) == Moment(datetime.combine(day, time()), WHOLE_DATE), form


@pytest.mark.parametrize(
    ("text", "wall"),
    [
        ("20240501T103015Z", "2024-05-01 10:30:15"),
        ("20240501T1030Z", "2024-05-01 10:30:00"),
        ("2024-05-01T10Z", "2024-05-01 10:00:00"),
        ("2024-W18-3T10:30Z", "2024-05-01 10:30:00"),
        ("2024122T1030Z", "2024-05-01 10:30:00"),
        ("2024-05-01T10:30,5Z", "2024-05-01 10:30:30"),
        ("2024-05-01T10.25Z", "2024-05-01 10:15:00"),
        ("2024-05-01T10:30:15,123456789Z", "2024-05-01 10:30:15.123456"),
        ("2024-05-01T24:00Z", "2024-05-02 00:00:00"),
        ("2024-12-31T24:00:00Z", "2025-01-01 00:00:00"),
        ("2024-05-01T10:30+02", "2024-05-01 08:30:00"),
        ("2024-05-01T10:30+0230", "2024-05-01 08:00:00"),
        ("2024-05-01T10:30\u221202:00", "2024-05-01 12:30:00"),  # the minus sign that ISO 8601 prefers
        ("2024-05-01 10:30:15 UTC", "2024-05-01 10:30:15"),
        ("  2024-05-01T10:30Z\n", "2024-05-01 10:30:00"),
    ],
)
def test_iso_date_times(text: str, wall: str) -> None:
    assert stamp(text).astimezone(UTC).replace(tzinfo=None) == datetime.fromisoformat(wall)


@pytest.mark.parametrize(
    ("text", "clock"),
    [("10:30", "10:30"), ("T1030", "10:30"), ("T10", "10:00"), ("10:30:15", "10:30:15"), ("24:00", "00:00")],
)
def test_a_time_of_day_alone(text: str, clock: str) -> None:
    moment = read(text)
    assert moment is not None
    assert moment.parts == CLOCK
    assert moment.stamp.time() == time.fromisoformat(clock)


@pytest.mark.parametrize(("text", "parts"), [("2024", YEAR), ("2024-05", YEAR | MONTH)])
def test_a_month_is_not_taken_for_a_day(text: str, parts: int) -> None:
    moment = read(text)
    assert moment is not None
    assert moment.parts == parts


@pytest.mark.parametrize(
    "value",
    [
        "",
        "soon",
        "2024-13-01",
        "2024-02-30",
        "2023-02-29",
        "0000-01-01",
        "2024-00-10",
        "2024-366-1",
        "2023-366",
        "2024-000",
        "2023-W53-1",
        "2024-W18-8",
        "2024-05-01T25:00Z",
        "2024-05-01T24:01Z",
        "2024-05-01T10:60Z",
        "2024-05-01T10:30:61Z",
        "2024-05-01T10:30+24:00",
        "2024-05-01T10:30+02:60",
        "2024-05-01X10:30",
        "9999-12-31T24:00Z",
        "2024-1-1",
        "٢٠٢٤-٠٥-٠١",
        "1/2/2024",
        "9" * 40,
        "1" * 2_000,
        JsonNumber("1e999999999"),
        JsonNumber("1e18"),
        True,
        None,
        MISSING,
        ["2024-05-01"],
    ],
)
def test_what_is_no_date(value: Value) -> None:
    assert read(value) is None


# RFC 5322

FOLDED = (
    "Thu,\r\n      13\r\n        Feb\r\n          1969\r\n      23:32\r\n         -0330 (Newfoundland Time)"
)


@pytest.mark.parametrize(
    ("text", "wall", "hours"),
    [  # appendix A: A.1.1, A.1.3 (its zone), A.5 (folding and a comment), A.6.2, A.6.3
        ("Fri, 21 Nov 1997 09:55:06 -0600", "1997-11-21 09:55:06", -6),
        ("Tue, 1 Jul 2003 10:52:37 +0200", "2003-07-01 10:52:37", 2),
        (FOLDED, "1969-02-13 23:32:00", -3.5),
        ("21 Nov 97 09:55:06 GMT", "1997-11-21 09:55:06", 0),
        ("Fri, 21 Nov 1997 09(comment):   55  :  06 -0600", "1997-11-21 09:55:06", -6),
        ("Fri, 21 Nov 1997 09:55:06 (a (nested \\) comment)) -0600", "1997-11-21 09:55:06", -6),
    ],
)  # fmt: skip
def test_rfc_5322_appendix_a(text: str, wall: str, hours: float) -> None:
    moment = read(text)
    assert moment is not None
    assert moment.parts == EVERYTHING
    assert moment.stamp == datetime.fromisoformat(wall).replace(tzinfo=timezone(timedelta(hours=hours)))


ZONES = {
    "UT": 0,
    "GMT": 0,
    "EST": -5,
    "EDT": -4,
    "CST": -6,
    "CDT": -5,
    "MST": -7,
    "MDT": -6,
    "PST": -8,
    "PDT": -7,
}


@pytest.mark.parametrize(
    ("zone", "hours"), [*ZONES.items(), *dict.fromkeys(["Z", "A", "n", "-0000", "CEST"], 0).items()]
)
def test_rfc_5322_zones(zone: str, hours: int) -> None:
    # section 4.3: the named ones mean what they say; military and unknown ones are -0000, which is UT
    assert stamp(f"1 Jan 2020 12:00:00 {zone}") == datetime(2020, 1, 1, 12 - hours, tzinfo=UTC)


@pytest.mark.parametrize(
    ("sent", "year"), [("00", 2000), ("49", 2049), ("50", 1950), ("99", 1999), ("103", 2003), ("2103", 2103)]
)
def test_rfc_5322_obsolete_years(sent: str, year: int) -> None:
    assert stamp(f"1 Jan {sent} 12:00 +0000").year == year  # section 4.3


@given(st.datetimes(min_value=datetime(1900, 1, 1), timezones=offsets))
def test_what_email_utils_writes_is_read_back(moment: datetime) -> None:
    text = format_datetime(moment)
    assert stamp(text) == moment.replace(microsecond=0) == parsedate_to_datetime(text)


def test_rfc_5322_without_a_zone_and_with_no_date_at_all() -> None:
    assert stamp("21 Nov 1997 09:55:06").tzinfo is None
    for text in (
        "21 Nov 1997",
        "31 Feb 1997 10:00 GMT",
        "1 Jan 2020 10:30 PM",
        "1 Jan 2020 25:00 GMT",
        "(",
        "(" * 90,
    ):
        assert read(text) is None


# Epochs


@pytest.mark.parametrize(
    ("literal", "microseconds"),
    [
        ("0", 0),
        ("1714557600", 1_714_557_600_000_000),
        ("1714557600.25", 1_714_557_600_250_000),
        ("1.7145576e9", 1_714_557_600_000_000),
        ("-1.5", -1_500_000),
        ("99999999999", 99_999_999_999_000_000),  # under 1e11: seconds
        ("100000000000", 100_000_000_000_000),  # from there milliseconds
        ("-100000000000", -100_000_000_000_000),
        ("99999999999999", 99_999_999_999_999_000),
        ("100000000000000", 100_000_000_000_000),  # from 1e14 microseconds
        ("1714557600123456", 1_714_557_600_123_456),
        ("99999999999.9999999999999999999999999999", 99_999_999_999_999_999),  # still under 1e11, floored
    ],
)
def test_epochs_by_absolute_value(literal: str, microseconds: int) -> None:
    wanted = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)
    assert read(JsonNumber(literal)) == read(literal) == Moment(wanted)


@given(st.integers(-62_135_596_800, 99_999_999_999))
def test_epochs_against_datetime(seconds: int) -> None:
    assert stamp(JsonNumber(str(seconds))) == datetime.fromtimestamp(0, UTC) + timedelta(seconds=seconds)


def test_digits_alone() -> None:
    assert stamp("20240501") == datetime(2024, 5, 1)
    assert stamp(JsonNumber("20240501")) == datetime.fromtimestamp(20_240_501, UTC)  # a number is an epoch
    assert stamp("20241301") == datetime.fromtimestamp(20_241_301, UTC)  # no such date
    assert stamp("2024366") == datetime(2024, 12, 31)
    assert stamp("2023366") == datetime.fromtimestamp(2_023_366, UTC)  # no such day


# Zones


def wall(text: str, zone: str) -> str:
    moment = read(text)
    assert moment is not None
    shown = moment.shown_in(ZoneInfo(zone))
    assert shown is not None
    return shown.strftime("%Y-%m-%d %H:%M")


@pytest.mark.parametrize(
    ("text", "shown"),
    [  # IANA Europe/Berlin, 2024: +01 until 31 March 01:00 UTC, +02 until 27 October 01:00 UTC
        ("2024-03-31T00:59:00Z", "2024-03-31 01:59"),
        ("2024-03-31T01:00:00Z", "2024-03-31 03:00"),
        ("2024-10-27T00:30:00Z", "2024-10-27 02:30"),
        ("2024-10-27T01:30:00Z", "2024-10-27 02:30"),  # the repeated hour
        ("2024-10-27T02:00:00Z", "2024-10-27 03:00"),
        ("2024-10-27T02:30:00+02:00", "2024-10-27 02:30"),
        ("2024-10-27T02:30:00+01:00", "2024-10-27 02:30"),
    ],
)
def test_clock_changes(text: str, shown: str) -> None:
    assert wall(text, "Europe/Berlin") == shown


def test_repeated_hours_keep_their_order() -> None:
    berlin = ZoneInfo("Europe/Berlin")
    first, second = read("2024-10-27T00:30:00Z"), read("2024-10-27T01:30:00Z")
    assert first is not None
    assert second is not None
    assert first.since_epoch(berlin) < second.since_epoch(berlin)


@given(
    st.datetimes(min_value=datetime(1990, 1, 1), max_value=datetime(2037, 1, 1), timezones=st.just(UTC)),
    st.sampled_from(["Europe/Berlin", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]),
)
def test_any_instant_is_shown_as_zoneinfo_shows_it(moment: datetime, zone: str) -> None:
    wanted = moment.astimezone(ZoneInfo(zone))
    shown = Moment(moment).shown_in(ZoneInfo(zone))
    assert shown is not None
    assert (shown.replace(tzinfo=None), shown.utcoffset()) == (
        wanted.replace(tzinfo=None),
        wanted.utcoffset(),
    )


@pytest.mark.parametrize("text", ["2024-05-01", "2024-05-01T10:30", "1 May 2024 10:30", "10:30", "20240501"])
def test_without_a_time_or_a_zone_nothing_is_shifted(text: str) -> None:
    for zone in ("UTC", "Pacific/Kiritimati", "America/St_Johns", "Etc/GMT+12"):
        moment = read(text)
        assert moment is not None
        assert moment.shown_in(ZoneInfo(zone)) == moment.stamp


def test_a_time_of_day_moves_only_to_a_zone_that_never_changes() -> None:
    assert wall("10:30+02:00", "UTC").endswith("08:30")
    assert wall("10:30+02:00", "Etc/GMT-5").endswith("13:30")
    assert wall("10:30+02:00", "Europe/Berlin").endswith("10:30")  # summer or winter?


@pytest.mark.parametrize("text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_beyond_the_calendar_there_is_nothing_to_show(text: str) -> None:
    moment = read(text)
    assert moment is not None
    assert moment.shown_in(UTC) is None
    moment.since_epoch(UTC)  # an order there still is


@given(st.text(max_size=120) | st.integers().map(lambda number: JsonNumber(str(number))))
def test_any_value_is_read_or_not(value: str | JsonNumber) -> None:
    moment = read(value)
    if moment is not None:
        moment.shown_in(ZoneInfo("America/St_Johns"))
        moment.since_epoch(ZoneInfo("America/St_Johns"))


def test_without_an_offset_it_is_the_zone_s_own_time_that_counts() -> None:
    naive, told = read("2026-07-01T12:00"), read("2026-07-01T12:00+02:00")
    assert naive is not None
    assert told is not None
    assert naive.since_epoch(ZoneInfo("Europe/Berlin")) == told.since_epoch(UTC)
    assert naive.since_epoch(UTC) - told.since_epoch(UTC) == timedelta(hours=2)
