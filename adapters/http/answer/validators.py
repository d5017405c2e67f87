"""Header fields -> what a later request can be conditional on (RFC 9110 section 8.8)."""

import re
from datetime import datetime
from typing import Final

from adapters.http.answer.dates import http_date
from adapters.http.answer.fields import Fields
from adapters.port import Validators

_CONTROL: Final = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
_STRONG: Final = re.compile(r'"[^"\x00-\x20\x7f]*"')  # RFC 9110 section 8.8.3
_SETTLED_SECONDS: Final = 60  # how much older than its answer a date has to be to count as strong


def validators(fields: Fields) -> Validators:
    """Those that can be sent back, as they came."""
    return Validators(_sendable(fields, "etag"), _sendable(fields, "last-modified"))


def _sendable(fields: Fields, name: str) -> str | None:
    value = fields.first(name)
    return value if value and _CONTROL.search(value) is None else None


def strong_etag(known: Validators) -> str | None:
    """The entity tag, if it is a strong one."""
    return known.etag if known.etag is not None and _STRONG.fullmatch(known.etag) else None


def range_validator(fields: Fields, now: datetime) -> str | None:
    """What If-Range may be made with (RFC 9110 section 13.1.5): a strong entity tag, else a date that is
    strong because the document was a minute old when the answer was made (section 8.8.2.2 wants a second;
    its predecessor, RFC 7232, wanted the minute).
    """
    known = validators(fields)
    if known.etag is not None:
        return strong_etag(known)
    modified = http_date(known.last_modified or "", now)
    made = http_date(fields.first("date") or "", now)
    if modified is None or made is None or (made - modified).total_seconds() < _SETTLED_SECONDS:
        return None
    return known.last_modified
