"""The date columns of a LIST line -> an aware datetime, in UTC, or None.

LIST has no standard; what is read here is common practice. A server writes its own local time and does not
say which zone that is, so it is taken for UTC: a listing shows the day, and MDTM or MLSD tell better.
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Final

_AHEAD: Final = timedelta(days=1)  # a server's clock and zone may be that far ahead of ours

_MONTHS: Final = {
    name: number
    for number, name in enumerate(
        (b"jan", b"feb", b"mar", b"apr", b"may", b"jun", b"jul", b"aug", b"sep", b"oct", b"nov", b"dec"),
        start=1,
    )
}

_CLOCK: Final = re.compile(rb"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?")
_YEAR: Final = re.compile(rb"\d{4}")
_DAY: Final = re.compile(rb"\d{1,2}")
_ISO: Final = re.compile(rb"(\d{4})-(\d{2})-(\d{2})")
_SHORT_ISO: Final = re.compile(rb"(\d{2})-(\d{2})")
_ZONE: Final = re.compile(rb"([+-])(\d{2}):?(\d{2})")


def month_number(word: bytes) -> int | None:
    """1 to 12 for the first three letters of an English month, in any case."""
    return _MONTHS.get(word.rstrip(b".").lower())


def made(  # noqa: PLR0917 - in the order of datetime itself
    year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: int = 0
) -> datetime | None:
    """A datetime in UTC, or None where there is no such day or time."""
    try:
        return datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    except (ValueError, OverflowError):
        return None


def with_year(now: datetime, month: int, day: int, hour: int, minute: int) -> datetime | None:
    """A date without a year: the latest such day that is not more than a day ahead of `now`.

    ls(1) leaves the year out for the last half year only; where that rule is not kept (a clock that runs
    ahead, a server that never writes the year) the latest possible year is still the best guess. 29 February
    is looked for up to eight years back, as 1900 and 2100 are no leap years.
    """
    for year in range(now.year + 1, now.year - 9, -1):
        moment = made(year, month, day, hour, minute)
        if moment is not None and moment <= now + _AHEAD:
            return moment
    return None


def clock_time(word: bytes) -> tuple[int, int, int] | None:
    """Hours, minutes and seconds of `9:05`, `09:05` or `09:05:59.000`."""
    found = _CLOCK.fullmatch(word)
    if found is None:
        return None
    return int(found[1]), int(found[2]), int(found[3] or 0)


def read_date(words: list[bytes], now: datetime) -> tuple[int, datetime | None] | None:
    """The date at the beginning of `words`: how many of them it takes and what it is, or None.

    `Mmm dd hh:mm`, `Mmm dd yyyy`, the same with the day first, and the ISO 8601 forms of ls(1): `yyyy-mm-dd`
    with or without a time, and `mm-dd hh:mm`. A zone stands behind seconds only: behind `hh:mm` one begins
    a name. A well-formed date that does not exist counts with None, so that its line is still read.
    """
    if len(words) >= 3:
        for month_at, day_at in ((0, 1), (1, 0)):
            month, day = month_number(words[month_at]), words[day_at].rstrip(b".,")
            if month is not None and _DAY.fullmatch(day):
                return _third(words[2], month, int(day), now)
    return _iso(words, now)


def _third(word: bytes, month: int, day: int, now: datetime) -> tuple[int, datetime | None] | None:
    if _YEAR.fullmatch(word):
        return 3, made(int(word), month, day)
    clock = clock_time(word)
    if clock is None:
        return None
    return 3, with_year(now, month, day, clock[0], clock[1])


def _iso(words: list[bytes], now: datetime) -> tuple[int, datetime | None] | None:
    if not words:
        return None
    clock = clock_time(words[1]) if len(words) > 1 else None
    short = _SHORT_ISO.fullmatch(words[0])
    if short is not None and clock is not None:
        return 2, with_year(now, int(short[1]), int(short[2]), clock[0], clock[1])
    found = _ISO.fullmatch(words[0])
    if found is None:
        return None
    year, month, day = (int(each) for each in found.groups())
    if clock is None:
        return 1, made(year, month, day)
    moment = made(year, month, day, *clock)
    zone = _ZONE.fullmatch(words[2]) if len(words) > 2 and words[1].count(b":") == 2 else None
    if zone is None:
        return 2, moment
    offset = timedelta(hours=int(zone[2]), minutes=int(zone[3]))
    return 3, _shifted(moment, -offset if zone[1] == b"+" else offset)


def _shifted(moment: datetime | None, by: timedelta) -> datetime | None:
    try:
        return None if moment is None else moment + by
    except OverflowError:
        return None
