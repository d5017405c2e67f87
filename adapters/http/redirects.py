"""One request, its redirecting answer -> the next request, or why there is none (RFC 9110 section 15.4).

A call that only asks:

- 301, 302: the same method; a POST becomes GET, as the RFC permits and everybody does.
- 303: GET (HEAD stays HEAD), without a body.
- 307, 308: the same method and body.

A call that changes something:

- 301, 302: MayBeDone. Many servers answer so when it is done, so it is neither repeated nor followed.
- 303: it was done; its result is fetched with GET. Whatever fails from here on is MayBeDone.
- 307, 308: it was not done; the same method and body, to the same origin. Elsewhere NotAllowed.

Both: a body goes to the same origin only, else NotAllowed. From https to http, or to another scheme, is
NotAllowed. A Location that is missing or cannot be used, a circle and more than limits.REDIRECTS are
WrongDocument (551, do not repeat) rather than a 4xx: asking again leads round the same circle. A circle is
the same request with the same cookies a second time: a first visit that only sets a cookie is none.

Another origin (scheme, host or port) gets neither the call's own header fields nor its credentials, and
they stay off even if the chain comes back: whoever led it there chose the URL. Whether the new origin may be
dialled is for the address guard. A user part in Location is dropped, and so are fragments.
"""

from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import urljoin

import httpx

from adapters.errors import MayBeDone, NotAllowed, WrongDocument
from adapters.http.urls import has_port, url_origin

_NOWHERE: Final = "A redirect that leads nowhere"


@dataclass(frozen=True, slots=True)
class Hop:
    """One request of a chain. `personal`: it may carry the call's own header fields and credentials."""

    url: httpx.URL
    method: str
    body: bytes | None
    personal: bool


def next_hop(hop: Hop, status: int, location: str | None, *, changes: bool) -> Hop:
    """The request that follows an answer of `status` with that Location, as the table has it.

    `location` has one character for each byte sent; it is resolved against the request's URL (RFC 3986
    section 5). `changes` is over after a 303: what follows that only asks.
    """
    if changes and status in (301, 302):
        raise MayBeDone
    url = _target(hop.url, location)
    same_origin = url_origin(url) == url_origin(hop.url)
    following = replace(hop, url=url, personal=hop.personal and same_origin)
    if status == 303 or (status in (301, 302) and hop.method == "POST"):
        return replace(following, method="HEAD" if hop.method == "HEAD" else "GET", body=None)
    if not same_origin and (changes or hop.body is not None):
        raise NotAllowed("A redirect to another server")
    return following


def _target(base: httpx.URL, location: str | None) -> httpx.URL:
    if location is None:
        raise WrongDocument(_NOWHERE)
    try:
        reference = location.encode("latin-1").decode("utf-8")  # no server should, many do
    except UnicodeError:
        reference = location
    try:
        url = httpx.URL(urljoin(str(base), reference))
        usable = bool(url.raw_host) and has_port(url)
    except (httpx.InvalidURL, ValueError) as error:
        raise WrongDocument(_NOWHERE) from error
    if url.scheme not in ("http", "https"):
        raise NotAllowed("A redirect to another protocol")
    if not usable:
        raise WrongDocument(_NOWHERE)
    if base.scheme == "https" and url.scheme == "http":
        raise NotAllowed("A redirect to an open line")
    if url.userinfo or url.fragment:
        return url.copy_with(username=None, password=None, fragment=None)
    return url
