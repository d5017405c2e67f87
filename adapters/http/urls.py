"""URL text -> a checked httpx.URL, and what identifies its origin (RFC 3986, RFC 9110 section 4.2)."""

import re
from typing import Final

import httpx

from adapters.errors import WrongWords

_NO_URL: Final = "Not a URL that can be fetched"
_LAST_PORT: Final = 65_535
_HOST: Final = re.compile(rb"[A-Za-z0-9_.-]+|[0-9A-Fa-f:.]+")

SchemeOrigin = tuple[str, str, int]
"""Scheme, host and port: what has to be the same for two URLs to be of one origin (RFC 9110, 4.3.1)."""


def parsed_url(text: str) -> httpx.URL:
    """An absolute http or https URL without a login, its host in ASCII (RFC 5891). WrongWords."""
    try:
        url = httpx.URL(text)
        fetchable = url.scheme in ("http", "https") and has_host(url) and has_port(url)
    except (httpx.InvalidURL, ValueError, TypeError) as error:  # idna's errors are ValueErrors
        raise WrongWords(_NO_URL) from error
    if not fetchable:
        raise WrongWords(_NO_URL)
    if url.userinfo:
        raise WrongWords("A URL must hold no login")
    return url


def has_port(url: httpx.URL) -> bool:
    """Whether the port can be dialled."""
    return 0 < url_port(url) <= _LAST_PORT


def has_host(url: httpx.URL) -> bool:
    """Whether the host can be one: a name as RFC 1123 section 2.1 has it, underscores too, or an address.

    A percent sign, a blank or an `@` in a host (RFC 3986 section 3.2.2 lets the first in) is how one reader
    is shown another host than the next; no such thing is looked up.
    """
    return _HOST.fullmatch(url.raw_host) is not None


def url_port(url: httpx.URL) -> int:
    """The port, also where the URL leaves it to the scheme."""
    if url.port is not None:
        return url.port
    return 443 if url.scheme == "https" else 80


def url_origin(url: httpx.URL) -> SchemeOrigin:
    """The origin; the host is in lower-case ASCII, an IPv6 address without brackets."""
    return url.scheme, url.raw_host.decode("ascii"), url_port(url)


def origin_text(origin: SchemeOrigin) -> str:
    """`scheme://host:port`, for people and logs."""
    scheme, host, port = origin
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


_PARTS: Final = re.compile(r"(?:([^:/?#]+):)?(?://([^/?#]*))?([^?#]*)(?:\?([^#]*))?(?:#.*)?", re.DOTALL)
"""RFC 3986 appendix B; the fragment is not kept."""


def resolved(base: str, reference: str) -> str:
    """The URL that a reference means where `base` is absolute (RFC 3986 section 5.2), without a fragment.

    Not urllib's, which loses a `;` at the end of a name.
    """
    scheme, authority, path, query = _parts(reference)
    own = _parts(base)
    if scheme is None:
        scheme = own[0]
        if authority is None:
            authority = own[1]
            if not path:
                path, query = own[2], own[3] if query is None else query
            elif not path.startswith("/"):
                path = (own[2].rpartition("/")[0] + "/" + path) if own[2] or authority is None else "/" + path
    start = f"{scheme}:" + ("" if authority is None else f"//{authority}")
    return start + without_dots(path) + ("" if query is None else f"?{query}")


def _parts(url: str) -> tuple[str | None, str | None, str, str | None]:
    found = _PARTS.fullmatch(url)
    assert found is not None  # the expression matches everything
    return found[1], found[2], found[3], found[4]


def without_dots(path: str) -> str:
    """An absolute path without its dot segments (RFC 3986 section 5.2.4); any other path as it is."""
    if not path.startswith("/"):
        return path
    kept: list[str] = []
    segments = path.split("/")[1:]
    for segment in segments:
        if segment == "..":
            del kept[-1:]
        elif segment != ".":
            kept.append(segment)
    if segments[-1] in (".", ".."):
        kept.append("")
    return "/" + "/".join(kept)
