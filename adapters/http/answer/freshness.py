"""Header fields -> Freshness, as a private cache reads them, without guessing (RFC 9111, 4.2 and 5.2)."""

import re
from datetime import datetime
from typing import Final

from adapters.http.answer.dates import http_date
from adapters.http.answer.fields import Fields
from adapters.port import Freshness

_DELTA_MOST: Final = 2**31  # RFC 9111 section 1.2.2: larger values are taken as this one

_DIRECTIVE: Final = re.compile(
    r"""[\s,]*                                   # empty list elements (RFC 9110 section 5.6.1.2)
        (?P<name>[!#$%&'*+.^_`|~0-9A-Za-z-]+)
        (?:\s*=\s*(?:"(?P<quoted>(?:[^"\\]|\\.)*)"|(?P<plain>[^\s,"]*)))?
        \s*(?=,|\Z)""",
    re.ASCII | re.VERBOSE | re.DOTALL,
)
_DELTA: Final = re.compile(r"[0-9]+", re.ASCII)


def _directives(text: str) -> dict[str, str | None]:
    """Name in lower case -> argument. Of a repeated one the first counts; what cannot be read is left out."""
    found: dict[str, str | None] = {}
    position = 0
    while position < len(text):
        directive = _DIRECTIVE.match(text, position)
        if directive is None:
            comma = text.find(",", position + 1)
            position = comma if comma >= 0 else len(text)
            continue
        quoted = directive["quoted"]
        argument = directive["plain"] if quoted is None else re.sub(r"\\(.)", r"\1", quoted)
        found.setdefault(directive["name"].lower(), argument)
        position = directive.end()
    return found


def _delta(text: str | None) -> int | None:
    """delta-seconds, or None."""
    if text is None or _DELTA.fullmatch(text) is None:
        return None
    digits = text.lstrip("0") or "0"
    return min(int(digits), _DELTA_MOST) if len(digits) <= 10 else _DELTA_MOST


def _lifetime(fields: Fields, directives: dict[str, str | None], now: datetime) -> int | None:
    """Seconds from the answer's making (RFC 9111 section 4.2.1). What is said but makes no sense is stale."""
    if "max-age" in directives:
        return _delta(directives["max-age"]) or 0
    expires = fields.first("expires")
    if expires is None:
        return None
    end = http_date(expires, now)
    if end is None:
        return 0  # section 5.3: above all the value "0"
    made = http_date(fields.first("date") or "", now) or now
    return int((end - made).total_seconds())


def freshness(fields: Fields, now: datetime, delay: float = 0.0, status: int = 200) -> Freshness:
    """What the server says about keeping its answer. `now` is aware; `delay` is how long it took, in seconds.

    `s-maxage` is for shared caches and ignored. `no-cache` and `no-store` with an argument count as without:
    fields are not kept one by one. `Vary: *` means a validation each time (section 4.1). A part of a
    document (206) is not to be kept. The age on arrival is the Age field and the delay, without the clocks'
    difference, as section 4.2.3 permits: a gateway at home may have a wrong clock. `must-revalidate` is
    not kept: only the catalogue's `stale` can serve a stale copy, and there its author has decided.
    """
    directives = _directives(fields.joined("cache-control"))
    lifetime = _lifetime(fields, directives, now)
    age = _delta((fields.first("age") or "").partition(",")[0].strip()) or 0
    return Freshness(
        max_age=None if lifetime is None else max(0, lifetime - age - int(delay)),
        no_store="no-store" in directives or status == 206,
        no_cache="no-cache" in directives or "*" in fields.joined("vary").replace(" ", "").split(","),
    )
