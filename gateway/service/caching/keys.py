"""Call -> key: what two calls share if one answer serves both (RFC 9111 section 2)."""

import hashlib
import json
from typing import Final

from adapters.port import Call

_HALF: Final = 32  # hex digits, 128 bits: nobody finds two calls with one key


def key_of(call: Call) -> str:
    """64 hex digits, from which no secret can be read.

    The first half stands for the URL without its query (place_of), the second for the method, URL,
    headers as sent, body, credentials and trust anchors. Where a call may go (`reach`) and how much it
    may bring (`body_limit`) do not change what is there; `validators` are the cache's own business.
    """
    secret = call.credentials
    parts = (
        call.method,
        call.url.partition("#")[0],
        call.accept,
        call.media_type,
        # Fields of different names have no order, those of one name have (RFC 9110 section 5.3).
        sorted(((name.lower(), value) for name, value in call.headers), key=lambda pair: pair[0]),
        None if call.body is None else call.body.hex(),
        None if secret is None else (secret.kind.value, secret.name, secret.secret),
        call.ca,
    )
    return place_of(call.url) + _digest(json.dumps(parts))


def place_of(url: str) -> str:
    """How the keys of every call to this URL begin, whatever its query: 32 hex digits."""
    return _digest(url.partition("#")[0].partition("?")[0])


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:_HALF]
