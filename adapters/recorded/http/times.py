"""Headers of an answer, as if it had been given now instead of when it was: its dates are moved along.

An age that a cache works out (RFC 9111 section 4.2.3), a life (Expires) and a wish to wait (Retry-After) are
then what they were. Last-Modified is the document's own and stays.
"""

from datetime import datetime
from email.utils import format_datetime, parsedate_to_datetime
from typing import Final

from adapters.recorded.exchange import Headers

_MOVED: Final = frozenset({"date", "expires", "retry-after"})


def moved(headers: Headers, recorded: datetime, now: datetime) -> Headers:
    """The headers of an answer of `recorded`, given at `now`. What is no date stays as it is."""
    return tuple(
        (name, _moved(value, recorded, now) if name.lower() in _MOVED else value) for name, value in headers
    )


def _moved(value: str, recorded: datetime, now: datetime) -> str:
    try:
        date = parsedate_to_datetime(value)
        return format_datetime(date + (now - recorded), usegmt=True)
    except (ValueError, TypeError, OverflowError):  # no date, one without a zone, or out of the calendar
        return value
