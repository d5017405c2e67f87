"""Headers of an answer, as if it had been given now instead of when it was: its dates are moved along.

An age that a cache works out (RFC 9111 section 4.2.3), a life (Expires) and a wish to wait (Retry-After) are
then what they were. Last-Modified is the document's own and stays. What a cookie has left is told in seconds,
since a jar goes by a clock of its own.
"""

import math
import re
from datetime import datetime
from email.utils import format_datetime, parsedate_to_datetime
from typing import Final

from adapters.recorded.exchange import Headers

_MOVED: Final = frozenset({"date", "expires", "retry-after"})
_ENDS: Final = re.compile(r"(?i)(?<=;)(\s*)expires\s*=([^;]*)")


def moved(headers: Headers, recorded: datetime, now: datetime) -> Headers:
    """The headers of an answer of `recorded`, given at `now`. What is no date stays as it is."""
    return tuple((name, _value(name.lower(), value, recorded, now)) for name, value in headers)


def _value(name: str, value: str, recorded: datetime, now: datetime) -> str:
    if name == "set-cookie":
        return _ENDS.sub(lambda match: match[1] + _left(match, recorded), value)
    return _moved(value, recorded, now) if name in _MOVED else value


def _left(ends: re.Match[str], recorded: datetime) -> str:
    """Max-Age instead of Expires (RFC 6265 section 5.2)."""
    try:
        seconds = (parsedate_to_datetime(ends[2]) - recorded).total_seconds()
    except (ValueError, TypeError, OverflowError):
        return ends[0].strip()
    return f"Max-Age={max(0, math.ceil(seconds))}"


def _moved(value: str, recorded: datetime, now: datetime) -> str:
    try:
        date = parsedate_to_datetime(value)
        return format_datetime(date + (now - recorded), usegmt=True)
    except (ValueError, TypeError, OverflowError):  # no date, one without a zone, or out of the calendar
        return value
