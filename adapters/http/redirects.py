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

An exchange about files (adapters.http.client) has rules of its own:

- GET and HEAD: as a call that only asks.
- 303 for any other method: something else is to be looked at, which is no answer to it: WrongDocument, or
  MayBeDone for a change.
- 301, 302, 307, 308 for any other method: the same method, header fields and body, to the same origin.
  Elsewhere NotAllowed.
- 301, 302 for a change: a redirect means that there is more to do before the request is fulfilled (RFC
  9110 section 15.4), and the liberty to answer a form's POST that way is not one for PUT, DELETE or the
  methods of RFC 4918. But scripts that take uploads do so all the same, and to send a document to their page
  of thanks would replace that page. So such a redirect is followed only where the last name of the path
  stays (a slash at its end may come or go), and is MayBeDone elsewhere, and for POST and PATCH.
"""

from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import unquote_to_bytes, urljoin

import httpx

from adapters.errors import MayBeDone, NotAllowed, WrongDocument
from adapters.files import Upload
from adapters.http.urls import has_host, has_port, url_origin

_NOWHERE: Final = "A redirect that leads nowhere"


@dataclass(frozen=True, slots=True)
class Hop:
    """One request of a chain. `personal`: it may carry the call's own header fields and credentials."""

    url: httpx.URL
    method: str
    body: bytes | Upload | None
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


def next_exchange(hop: Hop, status: int, location: str | None, *, changes: bool) -> Hop:
    """The request that follows in an exchange about files."""
    if hop.method in ("GET", "HEAD"):
        return next_hop(hop, status, location, changes=False)
    if status == 303:
        raise MayBeDone if changes else WrongDocument("Not what was asked for")
    moved = changes and status in (301, 302)
    if moved and hop.method in ("POST", "PATCH"):
        raise MayBeDone
    try:
        url = _target(hop.url, location)
    except (WrongDocument, NotAllowed) as error:
        raise MayBeDone if moved else error from error
    if moved and _last_name(url) != _last_name(hop.url):
        raise MayBeDone
    if url_origin(url) != url_origin(hop.url):
        raise NotAllowed("A redirect to another server")
    return replace(hop, url=url)


def _last_name(url: httpx.URL) -> bytes:
    path = url.raw_path.partition(b"?")[0].rstrip(b"/")
    return unquote_to_bytes(path.rpartition(b"/")[2])


def _target(base: httpx.URL, location: str | None) -> httpx.URL:
    if location is None:
        raise WrongDocument(_NOWHERE)
    try:
        reference = location.encode("latin-1").decode("utf-8")  # no server should, many do
    except UnicodeError:
        reference = location
    try:
        url = httpx.URL(urljoin(str(base), reference))
        usable = has_host(url) and has_port(url)
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
