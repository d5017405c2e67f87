"""Target -> the same, checked to be inside of its root, and its folder's URL."""

from dataclasses import replace
from typing import Final
from urllib.parse import unquote_to_bytes

from adapters.errors import NotAllowed
from adapters.files import Target
from adapters.http.urls import parsed_url, url_origin

_OUTSIDE: Final = "Outside its place"
_DOTS: Final = frozenset({b".", b".."})


def checked(target: Target) -> Target:
    """The target itself. NotAllowed outside of its root, WrongWords for no URL; nothing is sent."""
    names, above = _names(target.url), _names(target.root or target.url)
    url = parsed_url(target.url)
    if target.root and url_origin(url) != url_origin(parsed_url(target.root)):
        raise NotAllowed(_OUTSIDE)
    if names[: len(above)] != above:
        raise NotAllowed(_OUTSIDE)
    return target


def is_folder_url(url: str) -> bool:
    """Whether the path ends in a slash."""
    return _path(url).endswith("/")


def as_folder(target: Target) -> Target:
    """With a slash at the end of its path; one with a query is what it is."""
    if "?" in target.url or is_folder_url(target.url):
        return target
    return replace(target, url=target.url + "/")


def parent(target: Target) -> Target:
    """The folder that a document is in."""
    return replace(target, url=target.url.partition("?")[0].rstrip("/").rpartition("/")[0] + "/")


def _path(url: str) -> str:
    path = url.partition("#")[0].partition("?")[0].partition("://")[2].partition("/")[2]
    return "/" + path


def _names(url: str) -> tuple[bytes, ...]:
    names = tuple(unquote_to_bytes(each) for each in _path(url).split("/") if each)
    for name in names:  # a server may take any of these for a separator once it has decoded them
        if not _DOTS.isdisjoint(name.replace(b"\\", b"/").split(b"/")):
            raise NotAllowed(_OUTSIDE)
    return names
