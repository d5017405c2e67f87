"""URL text -> a checked httpx.URL, and what identifies its origin (RFC 3986, RFC 9110 section 4.2)."""

from typing import Final

import httpx

from adapters.errors import WrongWords

_NO_URL: Final = "Not a URL that can be fetched"
_LAST_PORT: Final = 65_535

SchemeOrigin = tuple[str, str, int]
"""Scheme, host and port: what has to be the same for two URLs to be of one origin (RFC 9110, 4.3.1)."""


def parsed_url(text: str) -> httpx.URL:
    """An absolute http or https URL without a login, its host in ASCII (RFC 5891). WrongWords."""
    try:
        url = httpx.URL(text)
        fetchable = url.scheme in ("http", "https") and url.raw_host and has_port(url)
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
