"""Target -> the place's folder on disk, and the names that lead from there to the document (RFC 8089)."""

from dataclasses import dataclass
from urllib.parse import unquote_to_bytes

from adapters.errors import NameNotAllowed, NotAllowed
from adapters.files import Target

_HERE = frozenset({"", "localhost"})


@dataclass(frozen=True, slots=True)
class Location:
    """`root` is an absolute path on disk; `names` are single segments, never empty, `.` or `..`."""

    root: bytes
    names: tuple[bytes, ...]


def location_of(target: Target) -> Location:
    """Where a target is. Its path is cut at the slashes and then decoded, each name once.

    NotAllowed: not below its root, dots among the names, a root that is no folder's URL, or another host.
    NameNotAllowed: a name with an encoded slash or a NUL, or a query.
    """
    if not target.root.endswith("/") or not target.url.startswith(target.root):
        if target.url + "/" != target.root:
            raise NotAllowed("That is not in a place")
        return Location(_root(target.root), ())
    rest = target.url.removeprefix(target.root)
    if "?" in rest or "#" in rest:
        raise NameNotAllowed
    return Location(_root(target.root), tuple(_name(each) for each in rest.split("/") if each))


def _root(url: str) -> bytes:
    scheme, separator, rest = url.partition("://")
    host, slash, path = rest.partition("/")
    if scheme.lower() != "file" or not separator or not slash or host.lower() not in _HERE:
        raise NotAllowed("That is not a folder of this machine")
    return b"/" + b"/".join(_name(each) for each in path.split("/") if each)


def _name(segment: str) -> bytes:
    name = unquote_to_bytes(segment)
    if name in {b".", b".."}:
        raise NotAllowed("Dots do not lead out of a place")
    if b"/" in name or b"\0" in name:
        raise NameNotAllowed
    return name
