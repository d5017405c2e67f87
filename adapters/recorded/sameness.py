"""Two exchanges -> whether the same came of the same, so that one recording with a count does for both."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Final

from adapters.recorded.exchange import Exchange, Headers, Message, Reply

_PASSING: Final = frozenset(
    {"date", "age", "server-timing", "x-request-id", "x-correlation-id", "x-response-time", "x-runtime"}
)
"""Response headers about this one answer; those with an X are common practice."""


def same_again(one: Exchange, other: Exchange) -> bool:
    """Whether `other` adds nothing to `one` but that it happened again."""
    asked, again = (replace(each.asked, request="") for each in (one, other))
    try:
        return asked == again and _lasting(one.reply) == _lasting(other.reply)
    except OSError:  # a body that was removed by hand
        return False


def _lasting(reply: Reply) -> Reply:
    return replace(reply, headers=_lasting_headers(reply.headers)) if isinstance(reply, Message) else reply


def _lasting_headers(headers: Headers) -> Headers:
    """Without what each answer has its own of; Expires as the time from Date to it."""
    date = next(
        (moment for name, value in headers if name.lower() == "date" for moment in _moments(value)), None
    )
    lasting = []
    for name, value in headers:
        lower = name.lower()
        if lower == "expires" and date is not None:
            lasting += [(lower, str(moment - date)) for moment in _moments(value)] or [(lower, value)]
        elif lower not in _PASSING:
            lasting.append((lower, value))
    return tuple(lasting)


def _moments(value: str) -> Iterator[datetime]:
    """The one that an HTTP date means (RFC 9110 section 5.6.7), or none."""
    try:
        moment = parsedate_to_datetime(value)
    except ValueError:
        return
    yield moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
