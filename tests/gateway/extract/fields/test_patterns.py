"""strftime patterns, against Python's strftime (the C library's) and strptime."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.fields.dates import CLOCK, DAY, EVERYTHING, MONTH, WHOLE_DATE, YEAR
from gateway.extract.fields.patterns import (
    IN_DIRECTIVES,
    OUT_DIRECTIVES,
    compile_in,
    compile_out,
    in_fault,
    out_fault,
)

offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))


@given(
    st.datetimes(min_value=datetime(1000, 1, 1), timezones=st.one_of(offsets, st.none())),
    st.sampled_from(sorted(OUT_DIRECTIVES - {"n", "t"})),
)
def test_every_directive_is_what_the_c_library_writes(stamp: datetime, letter: str) -> None:
    # years below 1000 are where C libraries differ; no locale is set in tests, so it is the C locale's
    assert compile_out(f"%{letter}").write(stamp) == stamp.strftime(f"%{letter}")


def test_line_ends_are_blanks() -> None:
    assert compile_out("%H%n%M%t%S").write(datetime(2024, 5, 1, 10, 30, 15)) == "10 30 15"


def test_years_below_1000_are_filled() -> None:
    assert compile_out("%Y %G %F %C").write(datetime(987, 6, 5)) == "0987 0987 0987-06-05 09"


@pytest.mark.parametrize(
    ("pattern", "written"),
    [
        ("%-d.%-m. %-I %p", "1.5. 9 AM"),
        ("100%% %H%%", "100% 09%"),
        ("%", "%"),
        ("%Q at 5%", "%Q at 5%"),
        ("%%F", "%F"),
        ("", ""),
    ],
)
def test_writing(pattern: str, written: str) -> None:
    assert compile_out(pattern).write(datetime(2024, 5, 1, 9, 5)) == written


@pytest.mark.parametrize(
    ("pattern", "needs"),
    [
        ("%d.%m.", DAY | MONTH),
        ("%H:%M", CLOCK),
        ("%a", WHOLE_DATE),
        ("%c", EVERYTHING),
        ("%Y", YEAR),
        ("%%H%z", 0),
    ],
)
def test_what_writing_needs(pattern: str, needs: int) -> None:
    assert compile_out(pattern).needs == needs


@pytest.mark.parametrize(
    ("pattern", "text", "wall", "parts"),
    [
        ("%d.%m.%Y %H:%M", "01.05.2024 10:30", "2024-05-01 10:30", EVERYTHING),
        ("%d/%m/%y", "1/5/24", "2024-05-01", WHOLE_DATE),
        ("%d %B", "29 february", "2000-02-29", DAY | MONTH),  # no year, and still a day
        ("%I:%M %p", "10:30 PM", "2000-01-01 22:30", CLOCK),
        ("%m/%Y", "05/2024", "2024-05-01", YEAR | MONTH),
        ("%G-W%V-%u", "2024-W18-3", "2024-05-01", WHOLE_DATE),
        ("%Y %j", "2024 122", "2024-05-01", WHOLE_DATE),
        ("%F %T", "2024-05-01 10:30:15", "2024-05-01 10:30:15", EVERYTHING),
        ("%-d. %h %Y", " 1. May 2024 ", "2024-05-01", WHOLE_DATE),
        ("%c", "Wed May  1 10:30:15 2024", "2024-05-01 10:30:15", EVERYTHING),
    ],
)
def test_reading(pattern: str, text: str, wall: str, parts: int) -> None:
    moment = compile_in(pattern).read(text)
    assert moment is not None
    assert moment.stamp == datetime.fromisoformat(wall)
    assert moment.parts == parts


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("10:30 UTC", 0),
        ("10:30 gmt", 0),
        ("10:30 UT", 0),
        ("10:30 Z", 0),
        ("10:30 EST", -5),
        ("10:30 PDT", -7),
    ],
)
def test_zone_names_are_those_of_rfc_5322_on_every_machine(text: str, hours: int) -> None:
    moment = compile_in("%H:%M %Z").read(text)
    assert moment is not None
    assert moment.stamp == datetime(2000, 1, 1, 10, 30, tzinfo=timezone(timedelta(hours=hours)))
    assert compile_in("%H:%M %Z").read("10:30 CEST") is None


def test_offsets_are_read() -> None:
    moment = compile_in("%Y-%m-%d %H:%M %z").read("2024-05-01 10:30 +0200")
    assert moment is not None
    assert moment.stamp == datetime(2024, 5, 1, 8, 30, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "32.05.2024", "01.05.2024x", "x" * 500, "1.5", "٠١.٠٥.٢٠٢٤x"])
def test_what_does_not_follow_the_pattern(text: str) -> None:
    assert compile_in("%d.%m.%Y").read(text) is None


@given(
    st.datetimes(min_value=datetime(1000, 1, 1)),
    st.sampled_from(["%Y-%m-%d %H:%M:%S.%f", "%d %b %Y %I:%M:%S.%f %p"]),
)
def test_what_is_written_is_read_back(stamp: datetime, pattern: str) -> None:
    moment = compile_in(pattern).read(compile_out(pattern).write(stamp))
    assert moment is not None
    assert moment.stamp == stamp


def test_faults() -> None:
    assert out_fault("%d.%m.%Y") is None
    assert out_fault("%Q") == "no directive %Q"
    assert out_fault("50%") == in_fault("50%") == "a % with nothing after it"
    assert in_fault("%d.%m.%Y") is None
    assert in_fault("%C") == "no directive %C"
    assert in_fault("today") == "no directive of a date or a time"
    assert in_fault("%d %d") == "directives that do not go together"


READABLE_TOGETHER = [
    "%a %A %d %b %Y",
    "%B %e %y",
    "%c",
    "%D %H",
    "%F %T",
    "%h %d %R",
    "%G %V %u",
    "%Y %j %I %p",
]
READABLE_TOGETHER += ["%x %X %f", "%Y %U %w", "%Y %W %w %r", "%H%n%M%t%S %z", "%H %Z %%", "%m/%d/%Y"]


def test_every_directive_has_a_pattern_that_reads_and_writes_it() -> None:
    for pattern in READABLE_TOGETHER:
        assert in_fault(pattern) is None, pattern
    letters = {
        letter for pattern in READABLE_TOGETHER for letter in pattern.replace("%", " %").split("%")[1:]
    }
    assert {letter[:1].strip() or "%" for letter in letters} >= IN_DIRECTIVES
    assert all(out_fault(f"%{letter}") is None for letter in OUT_DIRECTIVES)


def test_the_offset_of_a_moment_without_a_zone_is_nothing() -> None:
    assert compile_out("%H%z").write(datetime(2024, 5, 1, 9, 5)) == "09"
    assert compile_out("%H%z").write(datetime(2024, 5, 1, 9, 5, tzinfo=UTC)) == "09+0000"
