"""What a server calls a date -> a moment, or None: a listing goes on without it.

RFC 4918 section 15.7 wants an HTTP-date. Seen besides its three forms: RFC 5322 dates with a numeric zone,
or without the day's name, and RFC 3339.
"""

import re
from datetime import UTC, datetime
from typing import Final

from adapters import limits
from adapters.http.answer.dates import http_date

_FIRST_YEAR: Final = 1900  # 1601 and year 1 stand for "unknown" in some clocks
_LAST_YEAR: Final = 9998  # so that no time zone leads past the last moment there is

_MAIL: Final = re.compile(  # RFC 5322 section 3.3
    r"(?:[a-z]+,? +)?(?P<day>[0-9]{1,2}) (?P<month>[a-z]{3}) (?P<year>[0-9]{4}) "
    r"(?P<clock>[0-9]{2}:[0-9]{2}(?::[0-9]{2})?) *(?P<zone>[+-][0-9]{4}|GMT|UTC?|Z)",
    re.ASCII | re.IGNORECASE,
)
_ISO: Final = re.compile(  # RFC 3339 section 5.6
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,9})?)?"
    r" ?(?:[Zz]|[+-][0-9]{2}:?[0-9]{2})?",
    re.ASCII,
)


def dav_date(text: str, now: datetime) -> datetime | None:
    """The moment, in UTC, or None for what is no date or an absurd one. `now` is aware, as in `http_date`."""
    text = text.strip()
    if len(text) > limits.DATE_CHARACTERS:
        return None
    moment = http_date(text, now) or _mail_date(text) or _iso_date(text)
    if moment is None or not _FIRST_YEAR <= moment.year <= _LAST_YEAR:
        return None
    return moment


def _mail_date(text: str) -> datetime | None:
    found = _MAIL.fullmatch(text)
    if found is None:
        return None
    zone = found["zone"] if found["zone"][0] in "+-" else "+0000"
    clock = found["clock"] if found["clock"].count(":") == 2 else found["clock"] + ":00"
    month = found["month"].title()
    if month not in _MONTHS:
        return None
    date = f"{found['year']}-{_MONTHS.index(month) + 1:02}-{int(found['day']):02}"
    return _iso_moment(f"{date}T{clock}{zone}")


_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _iso_date(text: str) -> datetime | None:
    return _iso_moment(text.upper().replace(" ", "T", 1).replace(" ", "")) if _ISO.fullmatch(text) else None


def _iso_moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text)
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        return None
