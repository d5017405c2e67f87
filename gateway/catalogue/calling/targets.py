"""A ref as typed -> Ref -> Target: which place, which URL, as whom (CONTRACT section 3, "A ref is")."""

import re
import urllib.parse
from dataclasses import dataclass, replace
from typing import Final

from adapters.errors import NotAllowed, NotPossible, NotThere, WrongWords
from adapters.files import Target
from adapters.port import CredentialKind, Credentials, Origin, Reach
from gateway.catalogue.calling.addresses import Url, is_literal_host, split_url
from gateway.catalogue.calling.refs import WEB, resolve, within
from gateway.catalogue.document.mistakes import TextFault, nearest
from gateway.catalogue.keys.key import SCHEMES
from gateway.catalogue.model import Catalogue, Place

_START: Final = re.compile(r"([^:/?#]*):(.*)", re.DOTALL)
"""What a ref begins with before a colon: a `/` before it makes the colon a name's (RFC 3986 section 4.2)."""

_URL_SAFE: Final = ":/?#[]@!$&'()*+,;=%~"


@dataclass(frozen=True, slots=True)
class Ref:
    """One document or folder, resolved: `url` is absolute and percent-encoded; `place` is None for a URL that
    the client typed.
    """

    url: str
    place: Place | None = None

    @property
    def whole(self) -> str:
        """The ref as a client can type it from anywhere: `PLACE:path`, or the URL."""
        if self.place is None:
            return self.url
        return f"{self.place.name}:{self.url.removeprefix(self.place.base)}"

    @property
    def path(self) -> str:
        """The path below the place, or below the URL's host: percent-encoded, without a leading slash."""
        if self.place is not None:
            return self.url.removeprefix(self.place.base).partition("?")[0]
        return self.url.partition("?")[0].partition("://")[2].partition("/")[2]

    @property
    def is_root(self) -> bool:
        """Whether it is a place itself, or all that a host has."""
        return not self.path

    @property
    def is_folder(self) -> bool:
        """Whether it is a folder by its form: it ends in a slash, or is a root."""
        return self.path.endswith("/") or self.is_root

    @property
    def segment(self) -> str:
        """The last name of the path, percent-encoded; empty for a root."""
        return self.path.rstrip("/").rpartition("/")[2]

    def below(self, segment: str) -> "Ref":
        """The ref of one more name, percent-encoded, in this folder."""
        return replace(self, url=f"{self.url.partition('?')[0].rstrip('/')}/{segment}")


def read_ref(catalogue: Catalogue, text: str, base: Ref | None = None) -> Ref:
    """`place:path`, a URL whose host `[gateway] urls` lists, or a reference relative to `base`.

    The last is RFC 3986 section 5, a place being the root of its own tree: neither a leading `/` nor `..`
    leaves it. NotThere: no such place. NotAllowed: a URL that may not be typed, or a path out of its place.
    NotPossible: a scheme that there is not. WrongWords: nothing of all this.
    """
    start = _START.fullmatch(text)
    if start is None or not start[1]:
        if base is None or start is not None:
            raise _no_ref(catalogue, text, start is not None)
        return _relative(catalogue, text, current(catalogue, base))
    name, rest = start[1], start[2]
    place = catalogue.places.get(name.upper())
    if place is not None:
        return Ref(within(place.base, rest), place)
    if not rest.startswith("//") and name.lower() not in SCHEMES:
        near = nearest(name, catalogue.places)
        raise NotThere(f"No place {_ascii(name)}" + (f"; nearest: {near}" if near else ""))
    return Ref(_typed_url(catalogue, text).text)


def _no_ref(catalogue: Catalogue, text: str, colon: bool) -> WrongWords:
    if colon:
        return WrongWords("A ref is place:path or a URL")
    if text.upper() in catalogue.places:
        return WrongWords(f"Did you mean {text.upper()}: ?")
    return WrongWords("Wanted place:path, #n, or a BASE first")


def is_relative(text: str) -> bool:
    """Whether it matters to a ref where the last slash of its base is."""
    return _START.fullmatch(text) is None and text[:1] not in {"", "/", "?", "#"}


def current(catalogue: Catalogue, ref: Ref) -> Ref:
    """The same ref with its place as the catalogue has it now; NotThere where it has it no longer."""
    if ref.place is None:
        return ref
    place = catalogue.places.get(ref.place.name)
    if place is None or place.base != ref.place.base:
        raise NotThere(f"Place {ref.place.name} is not as it was")
    return replace(ref, place=place)


def inside(catalogue: Catalogue, url: str, place: Place | None) -> Ref:
    """The ref of an absolute URL that a server gave: of `place` where it lies in it, else as if typed."""
    if place is not None and url.startswith(place.base):
        return Ref(within(place.base, url.removeprefix(place.base)), place)
    return Ref(_typed_url(catalogue, url).text)


def target_of(catalogue: Catalogue, ref: Ref) -> Target:
    """The target of a ref, with the place's credentials and what the gateway may dial.

    NotThere: the place has gone meanwhile. NotAllowed: a URL that may not be typed, at least not any more.
    """
    place = current(catalogue, ref).place
    reach = reach_of(catalogue, ref)
    if place is None:
        scheme, _, rest = ref.url.partition("://")
        return Target(ref.url, f"{scheme}://{re.split('[/?]', rest, maxsplit=1)[0]}/", reach=reach)
    return Target(ref.url, place.base, place_credentials(catalogue, place), place.ca, reach, place.index)


def reach_of(catalogue: Catalogue, ref: Ref) -> Reach:
    """What may be dialled for a ref; NotAllowed for a URL that may not be typed."""
    named: frozenset[Origin] = frozenset()
    if ref.place is None:
        url = _typed_url(catalogue, ref.url)
        # An address that the catalogue itself spells out is named by it; a name that resolves to one is not.
        if is_literal_host(_pattern(catalogue, url)) and url.origin is not None:
            named = frozenset({url.origin})
    return Reach(catalogue.origins_for(ref.url.partition(":")[0]) | named, catalogue.gateway.allow)


def place_credentials(catalogue: Catalogue, place: Place) -> Credentials | None:
    """Who the gateway is at a place."""
    if place.user is None:
        return None
    secret = "" if place.secret is None else catalogue.secrets[place.secret]
    return Credentials(CredentialKind.BASIC, place.user, secret)


def _relative(catalogue: Catalogue, text: str, base: Ref) -> Ref:
    """RFC 3986 section 5.2, within a place or from a URL that was typed."""
    place = base.place
    if place is None:
        quoted = urllib.parse.quote(text, _URL_SAFE)
        return Ref(_typed_url(catalogue, resolve(base.url, quoted)).text)
    start, mark, query = base.url.removeprefix(place.base).partition("?")
    path = text
    if place.base.partition(":")[0] in WEB:
        reference = text.partition("#")[0]
        path, own_mark, own_query = reference.partition("?")
        if own_mark or path:
            mark, query = own_mark, own_query
    if not path:
        path = start
    elif not path.startswith("/"):
        path = start[: start.rfind("/") + 1] + path
    return Ref(within(place.base, path + mark + query), place)


def _ascii(name: str) -> str:
    return "".join(each if " " < each <= "~" else "?" for each in name.upper())[:20]


def _typed_url(catalogue: Catalogue, text: str) -> Url:
    scheme, _, rest = text.partition(":")
    if scheme.lower() == "file":
        raise NotAllowed("A file URL may not be typed")
    if not rest.startswith("//"):
        raise WrongWords("That is no usable URL")
    if scheme.lower() not in SCHEMES:
        raise NotPossible("No such kind of address here")
    authority = re.split(r"[/?#\\]", rest[2:], maxsplit=1)[0]
    if "@" in authority:
        raise NotAllowed("A URL may not hold a user part")
    try:
        url = split_url(text.partition("#")[0])
    except TextFault as fault:
        raise WrongWords("That is no usable URL") from fault
    _pattern(catalogue, url)
    return url


def _pattern(catalogue: Catalogue, url: Url) -> str:
    """The member of `[gateway] urls` that a URL's host matches; NotAllowed for none."""
    for pattern in catalogue.gateway.urls:
        if _matches(pattern, url.host):
            return pattern
    raise NotAllowed("URLs of that host may not be typed")


def _matches(pattern: str, host: str) -> bool:
    """`example.org` is that host alone; `*.example.org` is every host below it, but not itself."""
    return host.endswith(pattern[1:]) if pattern.startswith("*.") else host == pattern
