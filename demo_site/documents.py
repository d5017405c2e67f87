"""files/ -> Document -> response: the site's fixed documents, with validators and gzip.

Every document is a file that people can open. Dates of modification are fixed rather than the files' own,
because a checkout gives every file the day it was made.
"""

import gzip
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from types import MappingProxyType
from typing import Final

from demo_site.messages import Headers, SiteRequest, SiteResponse

FILES: Final = Path(__file__).with_name("files")
LAST_MODIFIED: Final = "Fri, 17 May 2024 05:00:00 GMT"

_MEDIA_TYPES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "atom.xml": "application/atom+xml",  # RFC 4287
        "rss.xml": "application/rss+xml",  # common practice, not registered
        "charter.txt": "text/plain",  # and Latin-1, which a client has to find out by itself
        ".xml": "application/xml",  # RFC 7303
        ".json": "application/json",  # RFC 8259
        ".ndjson": "application/x-ndjson",  # common practice, not registered
        ".csv": "text/csv; charset=utf-8; header=present",  # RFC 4180
        ".html": "text/html; charset=utf-8",
        ".txt": "text/plain; charset=utf-8",  # RFC 2046 section 4.1
    }
)
_CACHE_CONTROL: Final[Mapping[str, str]] = MappingProxyType(
    {
        "tides": "max-age=600",
        "ferries": "max-age=60",
        "notices": "max-age=300",
        "museum": "no-cache",  # may be kept, and must be revalidated before each use
        "market": "max-age=3600",
        "locked": "no-store",
    }
)
_COMPRESSED: Final = frozenset({"museum"})
_ETAG = re.compile(r'(?:W/)?("[^"]*")')


@dataclass(frozen=True, slots=True)
class Document:
    """One file of the site. `squeezed` is its gzip form (RFC 1952), or None where it is never compressed."""

    body: bytes
    media_type: str
    cache_control: str
    etag: str  # strong, quotes included
    squeezed: bytes | None = None


def read_documents(folder: Path = FILES) -> Mapping[str, Document]:
    """All documents, by their path below `folder` with slashes, such as `tides/sandbar.json`."""
    paths = sorted(each for each in folder.rglob("*") if each.is_file())
    return MappingProxyType({each.relative_to(folder).as_posix(): _read(each) for each in paths})


def _read(path: Path) -> Document:
    body = path.read_bytes()
    media_type = _MEDIA_TYPES.get(path.name) or _MEDIA_TYPES[path.suffix]
    return Document(
        body=body,
        media_type=media_type,
        cache_control=_CACHE_CONTROL.get(path.parent.name, "max-age=60"),
        etag=f'"{hashlib.sha256(body).hexdigest()[:16]}"',
        squeezed=gzip.compress(body, mtime=0) if path.parent.name in _COMPRESSED else None,
    )


def answer(document: Document, request: SiteRequest) -> SiteResponse:
    """The document, whole or as 304, in the coding that the client takes.

    RFC 9110 sections 12.5.3 (Accept-Encoding) and 13.2.2 (the order of conditions).
    """
    body, etag, coding = document.body, document.etag, None
    if document.squeezed is not None and takes_gzip(request.header("Accept-Encoding")):
        # A strong validator belongs to one representation (RFC 9110 section 8.8.3.3), so gzip has its own.
        body, etag, coding = document.squeezed, f'{document.etag[:-1]}-gzip"', "gzip"
    validators: Headers = (
        ("ETag", etag),
        ("Last-Modified", LAST_MODIFIED),
        ("Cache-Control", document.cache_control),
    )
    if document.squeezed is not None:
        validators += (("Vary", "Accept-Encoding"),)
    if _unchanged(request, etag):
        return SiteResponse(304, validators)
    headers: Headers = (("Content-Type", document.media_type), *validators)
    if coding is not None:
        headers += (("Content-Encoding", coding),)
    return SiteResponse(200, headers, body)


def takes_gzip(accept: str | None) -> bool:
    """Whether an Accept-Encoding value lets gzip through; a client that sends none gets plain bytes."""
    weights: dict[str, bool] = {}
    for part in (accept or "").lower().split(","):
        coding, *parameters = (each.strip() for each in part.split(";"))
        refused = any(re.fullmatch(r"q\s*=\s*0(\.0*)?", each) for each in parameters)
        weights[coding] = not refused
    for coding in ("gzip", "x-gzip", "*"):
        if coding in weights:
            return weights[coding]
    return False


def _unchanged(request: SiteRequest, etag: str) -> bool:
    given = request.header("If-None-Match")
    if given is not None:  # then If-Modified-Since is not looked at
        return given.strip() == "*" or etag in _ETAG.findall(given)
    since = request.header("If-Modified-Since")
    if since is None:
        return False
    try:
        return _instant(since) >= _instant(LAST_MODIFIED)
    except (ValueError, TypeError):  # not a date, or one without a zone: the field is to be ignored
        return False


def _instant(date: str) -> datetime:
    return parsedate_to_datetime(date)
