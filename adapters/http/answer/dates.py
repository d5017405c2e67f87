"""HTTP-date -> a moment (RFC 9110 section 5.6.7)."""

import re
from datetime import UTC, datetime
from typing import Final

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK: Final = r"(?P<hour>[0-9]{2}):(?P<minute>[0-9]{2}):(?P<second>[0-9]{2})"
_MONTH: Final = "(?P<month>" + "|".join(_MONTHS) + ")"
_ZONE: Final = r"(?:GMT|UTC)"

_FORMS: Final = tuple(
    re.compile(form, re.ASCII | re.IGNORECASE)
    for form in (
        rf"[a-z]+, (?P<day>[0-9]{{1,2}}) {_MONTH} (?P<year>[0-9]{{4}}) {_CLOCK} {_ZONE}",  # IMF-fixdate
        rf"[a-z]+, (?P<day>[0-9]{{1,2}})-{_MONTH}-(?P<year>[0-9]{{2}}) {_CLOCK} {_ZONE}",  # RFC 850, obsolete
        rf"[a-z]+ {_MONTH} +(?P<day>[0-9]{{1,2}}) {_CLOCK} (?P<year>[0-9]{{4}})",  # asctime(), obsolete
    )
)


def http_date(text: str, now: datetime) -> datetime | None:
    """The moment that one of the three forms names, in UTC, or None for anything else.

    The day's name is not compared: servers send wrong ones. A leap second is the second before it. `now` is
    aware and settles the century of two-digit years: more than 50 years ahead is the past century.
    """
    for form in _FORMS:
        found = form.fullmatch(text.strip())
        if found is not None:
            break
    else:
        return None
    year = int(found["year"])
    if len(found["year"]) == 2:
        year += now.year - now.year % 100
        if year > now.year + 50:
            year -= 100
    try:
        return datetime(
            year,
            _MONTHS.index(found["month"].lower()) + 1,
            int(found["day"]),
            int(found["hour"]),
            int(found["minute"]),
            min(int(found["second"]), 59) if found["second"] == "60" else int(found["second"]),
            tzinfo=UTC,
        )
    except ValueError:
        return None
