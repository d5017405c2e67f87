"""Retry-After -> whole seconds to wait (RFC 9110 section 10.2.3)."""

import re
from datetime import datetime, timedelta
from typing import Final

from adapters import limits
from adapters.http.answer.dates import http_date

_SECONDS: Final = re.compile(r"([0-9]+)(?:\.([0-9]*))?", re.ASCII)
_ALL_DIGITS: Final = len(str(limits.RETRY_SECONDS))


def retry_after(value: str | None, now: datetime) -> int | None:
    """0 to limits.RETRY_SECONDS, or None where the field is missing or says nothing that can be read.

    A number of seconds (a fraction, which the RFC does not have, is rounded up) or any of the three forms
    of HTTP-date; a moment in the past is 0. `now` is aware.
    """
    if value is None:
        return None
    text = value.strip()
    number = _SECONDS.fullmatch(text)
    if number is not None:
        whole = number[1].lstrip("0") or "0"
        if len(whole) > _ALL_DIGITS:  # also spares int() thousands of digits
            return limits.RETRY_SECONDS
        return min(int(whole) + bool((number[2] or "").strip("0")), limits.RETRY_SECONDS)
    moment = http_date(text, now)
    if moment is None:
        return None
    wait = -((now - moment) // timedelta(seconds=1))  # rounded up
    return max(0, min(wait, limits.RETRY_SECONDS))
