"""text or epoch -> Moment: what a value says about a point in time, and no more than it says.

Read are (CONTRACT section 4 "Values"):

- RFC 3339 section 5.6, and the ISO 8601 forms around it: basic and extended, week and ordinal dates, hours
  alone, a fraction of the last part after a point or a comma, `24:00`, `T10:30` and `10:30`.
- RFC 5322 sections 3.3 and 4.3: comments and folding, years of two digits, named and military zones.
- Epochs, in seconds below 1e11, in milliseconds below 1e14, in microseconds from there, by absolute value.

What those leave open, and is settled here:

- Digits alone are an epoch, but for a text (not a number) of eight that is a date (YYYYMMDD), of seven that
  is an ordinal date (YYYYDDD), and of four, which is a year.
- A year, or a year and a month, is not taken for its first day: a field that needs the day shows it as sent.
- A leap second is the second before it, so that its minute and its day stay right. 24:00 is 00:00 of the next
  day.
- `-00:00`, `-0000` and zones that RFC 5322 does not know are UTC, as it says; without any zone a time is
  local to whoever wrote it, and is never shifted.
"""

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from fractions import Fraction
from typing import Final

from adapters import limits
from gateway.extract.fields import numbers
from gateway.extract.values import JsonNumber, Value

YEAR: Final = 1
MONTH: Final = 2
DAY: Final = 4
WHOLE_DATE: Final = YEAR | MONTH | DAY
CLOCK: Final = 8
EVERYTHING: Final = WHOLE_DATE | CLOCK


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time. `parts` is the sum of what it says: YEAR, MONTH, DAY, CLOCK.

    What it does not say stands at the year 2000, 1 January or midnight in `stamp`, which has a tzinfo only
    where the value told its offset.
    """

    stamp: datetime
    parts: int = EVERYTHING

    def shown_in(self, zone: tzinfo) -> datetime | None:
        """The wall clock to write in `zone`; None where that falls outside the years 1 to 9999.

        A date without a time and a time without a zone stay as they are. A time of day with an offset but
        no date moves only to a zone whose own offset never changes: to any other it has no answer.
        """
        if self.stamp.tzinfo is None or not self.parts & CLOCK:
            return self.stamp
        if self.parts & WHOLE_DATE != WHOLE_DATE and zone.utcoffset(None) is None:
            return self.stamp
        try:
            return self.stamp.astimezone(zone)
        except (OverflowError, ValueError):
            return None

    def since_epoch(self, zone: tzinfo) -> timedelta:
        """The instant, for ordering; where no offset was told, as if it had been written in `zone`."""
        stamp = self.stamp
        offset = stamp.utcoffset()
        if offset is None:
            offset = stamp.replace(tzinfo=zone).utcoffset()
        return stamp.replace(tzinfo=None) - _EPOCH - (offset or timedelta())


_EPOCH: Final = datetime(1970, 1, 1)
_EPOCH_UTC: Final = datetime(1970, 1, 1, tzinfo=UTC)
_SECONDS_BELOW: Final = 10**11
_MILLISECONDS_BELOW: Final = 10**14
_PLAIN: Final = {
    len("1985-04-12"): WHOLE_DATE,
    len("1985-04-12T23:20:50Z"): EVERYTHING,
    len("1985-04-12T23:20:50+00:00"): EVERYTHING,
}

_ISO_DATE = (
    r"(?P<year>\d{4})(?:-(?P<month>\d\d)-(?P<day>\d\d)|(?P<month_b>\d\d)(?P<day_b>\d\d)"
    r"|-?[Ww](?P<week>\d\d)-?(?P<weekday>[1-7])|-?(?P<ordinal>\d{3}))"
)
_ISO_CLOCK = (
    r"(?P<hour>\d\d)(?::(?P<minute>\d\d)(?::(?P<second>\d\d))?|(?P<minute_b>\d\d)(?P<second_b>\d\d)?)?"
    r"(?:[.,](?P<fraction>\d+))?"
)
# U+2212 is the minus sign that ISO 8601 asks for where a character set has it.
_ISO_ZONE = (
    "(?: ?(?P<zone>[Zz]|UTC|GMT|(?P<sign>[-+\u2212])(?P<zone_hour>\\d\\d)(?::?(?P<zone_minute>\\d\\d))?))"
)
_ISO_MOMENT: Final = re.compile(f"{_ISO_DATE}(?:[Tt ]{_ISO_CLOCK}{_ISO_ZONE}?)?", re.ASCII)
_ISO_MONTH: Final = re.compile(r"(?P<year>\d{4})(?:-(?P<month>\d\d))?", re.ASCII)
_ISO_TIME: Final = re.compile(rf"(?:[Tt]|(?=\d\d:)){_ISO_CLOCK}{_ISO_ZONE}?", re.ASCII)

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_RFC_5322: Final = re.compile(
    rf"(?:[A-Za-z]{{3,9}}\s*,)?\s*(?P<day>\d\d?)\s+(?P<month>{'|'.join(_MONTHS)})\s+(?P<year>\d{{2,4}})\s+"
    r"(?P<hour>\d\d?)\s*:\s*(?P<minute>\d\d)(?:\s*:\s*(?P<second>\d\d))?"
    r"(?:\s*(?P<zone>[-+]\d{4}|(?![AP]M\b)[A-Z]{1,5}))?\s*",
    re.ASCII | re.IGNORECASE,
)
_COMMENT: Final = re.compile(r"\((?:[^()\\]|\\.)*\)")
NAMED_ZONES: Final = {
    "EST": -5,
    "EDT": -4,
    "CST": -6,
    "CDT": -5,
    "MST": -7,
    "MDT": -6,
    "PST": -8,
    "PDT": -7,
}
"""Hours east of UTC of the zones that RFC 5322 section 4.3 names, beside UT and GMT."""


def read(value: Value) -> Moment | None:
    """What `value` says about a point in time; None where it cannot be read as a date or a time."""
    if isinstance(value, JsonNumber):
        return _epoch(value.text)
    if not isinstance(value, str):
        return None
    text = value.strip()
    if not text or len(text) > limits.DATE_CHARACTERS:
        return None
    if len(text) in _PLAIN and text[4] == text[7] == "-" and text[10:14:3] in {"", "T:"}:
        try:  # RFC 3339 as most servers write it, the fast way
            return Moment(datetime.fromisoformat(text), _PLAIN[len(text)])
        except ValueError:
            pass
    digits_only = text.isascii() and text.isdecimal()
    if not digits_only or len(text) in {4, 7, 8}:
        moment = _iso(text) or _rfc_5322(text)
        if moment is not None:
            return moment
    return _epoch(text)


def _epoch(text: str) -> Moment | None:
    number = numbers.read(text)
    if number is None or number.adjusted() > 18:
        return None
    size = number.copy_abs()
    unit = 1_000_000 if size < _SECONDS_BELOW else 1_000 if size < _MILLISECONDS_BELOW else 1
    try:
        return Moment(_EPOCH_UTC + timedelta(microseconds=math.floor(Fraction(number) * unit)))
    except OverflowError:
        return None


def _iso(text: str) -> Moment | None:
    match = _ISO_MOMENT.fullmatch(text)
    try:
        if match is not None:
            day = _iso_day(match)
            if match["hour"] is None:
                return Moment(datetime.combine(day, time()), WHOLE_DATE)
            return Moment(datetime.combine(day, time(), _iso_zone(match)) + _iso_clock(match))
        match = _ISO_MONTH.fullmatch(text)
        if match is not None:
            month = match["month"]
            return Moment(datetime(int(match["year"]), int(month or 1), 1), YEAR | MONTH if month else YEAR)
        match = _ISO_TIME.fullmatch(text)
        if match is not None:
            clock = _iso_clock(match) % timedelta(days=1)
            midnight = datetime(2000, 1, 1, tzinfo=_iso_zone(match))
            return Moment(midnight + clock, CLOCK)
    except (ValueError, OverflowError):
        return None
    return None


def _iso_day(match: re.Match[str]) -> date:
    year, week, ordinal = match.group("year", "week", "ordinal")
    if week is not None:
        return date.fromisocalendar(int(year), int(week), int(match["weekday"]))
    if ordinal is not None:
        day = date(int(year), 1, 1) + timedelta(days=int(ordinal) - 1)
        if day.year != int(year):
            raise ValueError("No such day of that year")
        return day
    return date(int(year), int(match["month"] or match["month_b"]), int(match["day"] or match["day_b"]))


def _iso_clock(match: re.Match[str]) -> timedelta:
    minute = match["minute"] or match["minute_b"]
    second = match["second"] or match["second_b"]
    unit = 3600 if minute is None else 60 if second is None else 1
    return _clock(int(match["hour"]), int(minute or 0), int(second or 0), match["fraction"] or "0", unit)


def _clock(hour: int, minute: int, second: int, fraction: str = "0", unit: int = 1) -> timedelta:
    """The time since midnight; `fraction` is of `unit` seconds. ValueError where no clock shows that."""
    part = timedelta(microseconds=int(fraction) * unit * 1_000_000 // 10 ** len(fraction))
    if (hour, minute, second, part) == (24, 0, 0, timedelta()):
        return timedelta(days=1)
    if hour > 23 or minute > 59 or second > 60:
        raise ValueError("No such time of day")
    return timedelta(hours=hour, minutes=minute, seconds=min(second, 59)) + part


def _iso_zone(match: re.Match[str]) -> tzinfo | None:
    zone, sign, hour, minute = match.group("zone", "sign", "zone_hour", "zone_minute")
    if zone is None:
        return None
    return UTC if sign is None else _offset(sign == "+", int(hour), int(minute or 0))


def _offset(east: bool, hour: int, minute: int) -> tzinfo:
    """A fixed offset from UTC. ValueError from 24 hours on."""
    if minute > 59:
        raise ValueError("No such offset")
    offset = timedelta(hours=hour, minutes=minute)
    return timezone(offset if east else -offset)


def _rfc_5322(text: str) -> Moment | None:
    while "(" in text:  # comments nest
        bare = _COMMENT.sub(" ", text)
        if bare == text:
            return None
        text = bare
    match = _RFC_5322.fullmatch(text)
    if match is None:
        return None
    year = int(match["year"])
    if len(match["year"]) == 2:
        year += 2000 if year < 50 else 1900
    elif len(match["year"]) == 3:
        year += 1900
    try:
        month = _MONTHS.index(match["month"].lower()) + 1
        midnight = datetime(year, month, int(match["day"]), tzinfo=_zone(match["zone"]))
        return Moment(midnight + _clock(int(match["hour"]), int(match["minute"]), int(match["second"] or 0)))
    except (ValueError, OverflowError):
        return None


def _zone(word: str | None) -> tzinfo | None:
    """RFC 5322 sections 3.3 and 4.3."""
    if word is None:
        return None
    if word[0] in "+-":
        return _offset(word[0] == "+", int(word[1:3]), int(word[3:]))
    return timezone(timedelta(hours=NAMED_ZONES.get(word.upper(), 0)))
