"""Target -> Place: the same as HTTP knows it, checked to be inside of its root.

`dav://h/p` is `http://h/p`, and `davs` is `https`. A collection's URL ends in a slash (RFC 4918 section 5.2),
a document's does not.
"""

import secrets
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import unquote_to_bytes

from adapters.errors import NameNotAllowed, WrongWords
from adapters.files import Target
from adapters.http.documents.places import as_folder, checked, parent
from adapters.http.urls import SchemeOrigin, origin_text, parsed_url, url_origin

_OF_HTTP: Final = {"dav": "http", "davs": "https"}
_OF_DAV: Final = {http: dav for dav, http in _OF_HTTP.items()}
_ODD: Final = frozenset(b";?#\t\r\n")
_LONG_NAME: Final = 200  # bytes of a name that are not repeated in a temporary one: most disks take 255


@dataclass(frozen=True, slots=True)
class Place:
    """A target, read. `target` is the HTTP one, its path as given and its host as the Host field has it, so
    that a Destination names the same server; `names` are its path's, decoded.
    """

    target: Target
    origin: SchemeOrigin
    names: tuple[bytes, ...]
    at_root: bool

    @property
    def far(self) -> str:
        """Its origin, as people are told."""
        return dav_url(origin_text(self.origin))

    @property
    def document(self) -> Target:
        """As a document."""
        return replace(self.target, url=self.target.url.rstrip("/")) if self.names else self.target

    @property
    def folder(self) -> Target:
        """As a collection."""
        return as_folder(self.target)

    @property
    def parent(self) -> Target:
        """The collection that it is in."""
        return parent(self.target)

    def temporary(self) -> Target:
        """A name beside it that nobody else has."""
        last = self.names[-1]
        name = b"" if len(last) > _LONG_NAME or is_odd(last) else last + b"."
        return self.document.beside(name + b"hr-" + secrets.token_hex(5).encode() + b".part")

    def contains(self, other: "Place") -> bool:
        """Whether the other is this or inside of it."""
        return other.origin == self.origin and other.names[: len(self.names)] == self.names


def is_odd(name: bytes) -> bool:
    """Whether the name has a character that ends a path where it is not encoded."""
    return not _ODD.isdisjoint(name)


def placed(target: Target) -> Place:
    """WrongWords for what is no dav or davs URL, NotAllowed outside of the root; nothing is sent."""
    web = replace(target, url=_web_url(target.url), root=_web_url(target.root), index="")
    url = parsed_url(checked(web).url)
    names = _names(web.url)
    path = web.url.partition("://")[2].partition("/")[2]
    exact = replace(web, url=f"{url.scheme}://{url.netloc.decode('ascii')}/{path}")
    return Place(exact, url_origin(url), names, at_root=len(names) == len(_names(web.root)))


def dav_url(url: str) -> str:
    """The WebDAV spelling of an HTTP URL."""
    scheme, _, rest = url.partition("://")
    return f"{_OF_DAV.get(scheme, scheme)}://{rest}"


def same_url(one: str, other: str) -> bool:
    """Whether they differ in nothing but what they encode (RFC 3986 section 6.2.2.2)."""
    return unquote_to_bytes(one) == unquote_to_bytes(other)


def _web_url(url: str) -> str:
    scheme, _, rest = url.partition("://")
    known = _OF_HTTP.get(scheme.lower())
    if known is None or "?" in rest or "#" in rest:
        raise WrongWords("Not a URL that WebDAV can carry")
    return f"{known}://{rest}" if "/" in rest else f"{known}://{rest}/"


def _names(url: str) -> tuple[bytes, ...]:
    path = url.partition("://")[2].partition("/")[2]
    names = tuple(unquote_to_bytes(each) for each in path.split("/") if each)
    if any(b"/" in name or b"\0" in name for name in names):
        raise NameNotAllowed("Not a name that WebDAV can carry")
    return names
