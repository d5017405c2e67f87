"""The exchanges of one URL -> those that answer a request, and what a server would make of one of them.

A whole document that was recorded also answers for its parts (RFC 9110 section 14), for HEAD,
and, where it is still the same, with 304 (section 13).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from email.utils import parsedate_to_datetime
from typing import Final

from adapters.recorded.exchange import Asked, Content, Exchange, Headers, Message
from adapters.recorded.matching import normal

_RANGE: Final = re.compile(r"bytes=([0-9]+)-([0-9]*)")
_TAG: Final = re.compile(r'(?:W/)?("[^"]*")')

TOLD_APART: Final = ("range", "cookie")
"""Request headers by which requests for one URL differ."""


@dataclass(frozen=True, slots=True)
class Part:
    """Bytes of a content: from `start` up to, but not, `end`."""

    content: Content | None
    start: int
    end: int


def header(headers: Headers, name: str) -> str | None:
    """The first value of a field."""
    return next((value for each, value in headers if each.lower() == name), None)


def fitting(asked: Asked, found: Sequence[Exchange]) -> Sequence[Exchange]:
    """Those of the exchanges that can answer this request: those with the query in the same order,
    those for the same part, those with the same cookies, and those with the same of every
    other header that is kept, where there are such.
    """
    fit = [each for each in found if _fits(asked, each)]
    url = normal(asked.url, in_order=True)
    fit = [each for each in fit if normal(each.asked.url, in_order=True) == url] or fit
    others = {name.lower() for each in fit for name, _ in each.asked.headers}.difference(TOLD_APART)
    for name in (*TOLD_APART, *sorted(others)):
        same = [each for each in fit if header(each.asked.headers, name) == header(asked.headers, name)]
        fit = same or fit
    return fit


def _fits(asked: Asked, exchange: Exchange) -> bool:
    reply = exchange.reply
    if not isinstance(reply, Message):
        return True
    if reply.status == 304:
        return conditional(asked.headers)
    wanted, had = header(asked.headers, "range"), header(exchange.asked.headers, "range")
    if reply.status == 206:
        return wanted == had
    if wanted is not None and wanted != had:
        return reply.status != 416
    return True


def conditional(headers: Headers) -> bool:
    """Whether a request asks only for what it does not have (RFC 9110 sections 13.1.2 and 13.1.3)."""
    return header(headers, "if-none-match") is not None or header(headers, "if-modified-since") is not None


def served(asked: Asked, message: Message) -> tuple[Message, Part]:
    """The answer to this request that a server makes of a recorded one, and the part of its content."""
    content = message.content
    size = 0 if content is None else content.size
    whole = Part(content, 0, size)
    if message.status != 200 or asked.method not in ("GET", "HEAD"):
        return message, whole
    if conditional(asked.headers) and _unchanged(asked.headers, message.headers):
        return replace(message, status=304, content=None, length=None, failure=None), Part(None, 0, 0)
    wanted = header(asked.headers, "range")
    match = None if wanted is None else _RANGE.fullmatch(wanted)
    if match is None or message.failure is not None or not _still(asked.headers, message.headers):
        return message, whole
    full = size if message.length is None else message.length
    start, end = int(match[1]), min(int(match[2]) + 1 if match[2] else full, full)
    if start >= full:
        told = (*message.headers, ("Content-Range", f"bytes */{full}"))
        return replace(message, status=416, headers=told, content=None, length=0), Part(None, 0, 0)
    told = (*message.headers, ("Content-Range", f"bytes {start}-{end - 1}/{full}"))
    part = Part(content, min(start, size), min(end, size))
    return replace(message, status=206, headers=told, length=end - start), part


def _unchanged(wanted: Headers, kept: Headers) -> bool:
    tags, etag = header(wanted, "if-none-match"), header(kept, "etag")
    if tags is not None:
        return etag is not None and (tags.strip() == "*" or _opaque(etag) in _TAG.findall(tags))
    since, modified = header(wanted, "if-modified-since"), header(kept, "last-modified")
    try:
        return bool(since and modified) and parsedate_to_datetime(modified or "") <= parsedate_to_datetime(
            since or ""
        )
    except (ValueError, TypeError):
        return False


def _still(wanted: Headers, kept: Headers) -> bool:
    """Whether a range is of the document that the client has in part (If-Range, section 13.1.5)."""
    condition = header(wanted, "if-range")
    return condition is None or condition in (header(kept, "etag"), header(kept, "last-modified"))


def _opaque(etag: str) -> str:
    return etag.removeprefix("W/")
