"""base + reference -> URI (RFC 3986 section 5), and a place + path -> URL that stays inside the place."""

import re
import urllib.parse
from typing import Final

from adapters import limits
from adapters.errors import NotAllowed, WrongWords
from adapters.files import quoted
from gateway.catalogue.model import STREAMS

_PARTS: Final = re.compile(
    r"(?:(?P<scheme>[A-Za-z][A-Za-z0-9+.-]*):)?(?://(?P<authority>[^/?#]*))?"
    r"(?P<path>[^?#]*)(?:\?(?P<query>[^#]*))?(?:#(?P<fragment>.*))?",
    re.DOTALL,
)
_PATH_SAFE: Final = "!$&'()*+,;=:@%~"
_TRIPLET: Final = re.compile(r"%(?![0-9A-Fa-f]{2})")
WEB: Final = frozenset({"http", "https"})
"""Schemes whose URLs have queries."""

_LIKE_WEB: Final = WEB | {"dav", "davs"}
_UNRESERVED: Final = re.compile(
    r"%(4[1-9A-Fa-f]|5[0-9Aa]|6[1-9A-Fa-f]|7[0-9Aa]|3[0-9]|2[DEde]|5[Ff]|7[Ee])"  # RFC 3986 section 2.3
)
_DOTS: Final = frozenset({".", ".."})


def resolve(base: str, reference: str) -> str:
    """The target of `reference` seen from the absolute URI `base`: RFC 3986 section 5.2.2, strict."""
    start, target = _PARTS.fullmatch(base), _PARTS.fullmatch(reference)
    assert start is not None
    assert target is not None  # the pattern matches any text
    scheme, authority, query = start["scheme"], start["authority"], target["query"]
    if target["scheme"] is not None:
        scheme, authority = target["scheme"], target["authority"]
        path = without_dots(target["path"])
    elif target["authority"] is not None:
        authority, path = target["authority"], without_dots(target["path"])
    elif not target["path"]:
        path = start["path"]
        query = start["query"] if query is None else query
    elif target["path"].startswith("/"):
        path = without_dots(target["path"])
    else:
        path = without_dots(_merged(start["path"], start["authority"], target["path"]))
    return _composed(scheme, authority, path, query, target["fragment"])


def _merged(base: str, authority: str | None, path: str) -> str:
    """RFC 3986 section 5.2.3."""
    if authority is not None and not base:
        return "/" + path
    return base[: base.rfind("/") + 1] + path


def without_dots(path: str) -> str:
    """The path without its dot segments: RFC 3986 section 5.2.4."""
    output: list[str] = []
    while path:
        if path.startswith(("../", "./")):
            path = path[path.index("/") + 1 :]
        elif path.startswith("/./") or path == "/.":
            path = "/" + path[3:]
        elif path.startswith("/../") or path == "/..":
            path = "/" + path[4:]
            if output:
                output.pop()
        elif path in _DOTS:
            path = ""
        else:
            end = path.find("/", 1)
            end = len(path) if end < 0 else end
            output.append(path[:end])
            path = path[end:]
    return "".join(output)


def _composed(
    scheme: str | None, authority: str | None, path: str, query: str | None, fragment: str | None
) -> str:
    """RFC 3986 section 5.3."""
    text = "" if scheme is None else f"{scheme}:"
    text += "" if authority is None else f"//{authority}"
    text += path
    text += "" if query is None else f"?{query}"
    return text if fragment is None else f"{text}#{fragment}"


def within(base: str, path: str) -> str:
    """The URL of `path` in the place at `base`, an absolute URL that ends in a slash.

    The place is the root of its own tree: a leading `/` means the place itself, and `..` at its top stays
    there, as RFC 3986 section 5.2.4 has it for any root; `%2e` counts as a dot (section 6.2.2.2). Where the
    place is a web server a query goes along and a fragment does not; elsewhere `?` and `#` belong to names.
    NotAllowed: a name that some server may take for dots and slashes; with FTP and on a disk any encoded
    slash and any backslash. WrongWords: control characters.
    """
    scheme = base[: base.index(":")]
    if scheme in STREAMS:
        if path:
            raise WrongWords("That place has no paths")
        return base
    query = ""
    if scheme in WEB:
        path, _, _ = path.partition("#")
        path, mark, query = path.partition("?")
        query = mark + urllib.parse.quote(_triplets(query), _PATH_SAFE + "/?")
    names: list[str] = []
    written = path.lstrip("/").split("/")
    for segment in written:
        name = urllib.parse.unquote(segment)
        _check(name, scheme in _LIKE_WEB)
        if name == "..":
            del names[-1:]
        elif name != ".":
            names.append(_spelled(segment, scheme))
    if names and names[-1] and urllib.parse.unquote(written[-1]) in _DOTS:
        names.append("")
    return base + "/".join(names) + query


def _spelled(segment: str, scheme: str) -> str:
    """One name in one spelling, so that a document has one URL (RFC 3986 section 6.2.2.2).

    Where names are files', however they were typed; a web server may mean something by `%3B` for `;`, so that
    only what never means anything is decoded.
    """
    if scheme not in WEB:
        return quoted(urllib.parse.unquote_to_bytes(segment))
    plain = _UNRESERVED.sub(lambda found: chr(int(found[1], 16)), _triplets(segment))
    return urllib.parse.quote(plain, _PATH_SAFE)


def _triplets(text: str) -> str:
    """Text in which every `%` begins a triplet."""
    return _TRIPLET.sub("%25", text)


def _check(name: str, web: bool) -> None:
    """Refuse one decoded segment that a server could take for several, or for dots after another decoding."""
    if any(ord(each) < 0x20 or ord(each) == 0x7F for each in name):
        raise WrongWords("A ref holds no control characters")
    if name in _DOTS:
        return
    for _ in range(limits.DECODINGS):
        parts = re.split(r"[/\\]", name)
        # `..;x` is `..` with a parameter (RFC 3986 section 3.3), which some servers drop.
        climbs = any(part.partition(";")[0].strip() in _DOTS for part in parts)
        if climbs or (len(parts) > 1 and not web):
            alone = "\\" in name and "/" not in name and not climbs
            raise NotAllowed("No \\ in a name" if alone else "A ref may not leave its place")
        name = urllib.parse.unquote(name)
