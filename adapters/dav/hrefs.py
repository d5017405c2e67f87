"""An href of a multistatus -> a path below the request's, decoded once (RFC 4918 section 8.3, RFC 3986).

Only the path of an href counts: a server behind another one often names itself wrongly, and no href may lead
the gateway to another host. What servers send wrongly is taken as they mean it:

- raw blanks, non-ASCII letters, `#`, `?` and a lone `%` are part of a name;
- an href without any slash whose slashes are escaped is a whole path;
- doubled slashes count as one in a comparison, and are sent back as they came;
- a name alone is resolved against the request, although the RFC's grammar has no such form.
"""

import re
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote, unquote_to_bytes

from adapters.http.urls import without_dots

_ORIGIN: Final = re.compile(r"[a-z][a-z0-9+.-]*://[^/?#]*", re.ASCII | re.IGNORECASE)
_TO_ESCAPE: Final = re.compile(r"%(?![0-9A-Fa-f]{2})|[^!-~]|[\"#<>?\[\]\\^`{|}]")
_SLASH: Final = re.compile("%2f", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Path:
    """`sent` is the absolute path as the server sent it, made sendable; `segments` its names, as bytes."""

    sent: str
    segments: tuple[bytes, ...]

    @property
    def is_folder(self) -> bool:
        """Whether it ends in a slash, as collections should."""
        return self.sent.endswith("/")

    @property
    def plain(self) -> bool:
        """Whether its names, encoded again and joined, are the same path: it has no doubled slashes."""
        return "//" not in self.sent


def path_of(href: str, base: str) -> Path:
    """The path of an href in the answer to a request for the path `base`, which is percent-encoded."""
    href = href.strip(" \t\r\n")
    origin = _ORIGIN.match(href)
    if origin is not None:
        href = href[origin.end() :] or "/"
    if "/" not in href:
        href = _SLASH.sub("/", href)
    if not href.startswith("/"):
        href = base[: base.rfind("/") + 1] + href
    sent = without_dots(_TO_ESCAPE.sub(lambda found: quote(found[0], safe=""), href))
    return Path(sent, tuple(unquote_to_bytes(segment) for segment in sent.split("/") if segment))
