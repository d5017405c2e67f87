"""URL -> where in the folder of recordings its files go: readable, legal everywhere, and never outside.

The names carry no meaning, the TOML files do; so whatever is not plain is simply left out of a name, letters
are small, and two URLs that come to one name are told apart by the number behind it.
"""

import mimetypes
import re
from pathlib import PurePosixPath
from typing import Final
from urllib.parse import unquote

from adapters import limits
from adapters.recorded.tree.disk import PART, TOML

_ODD: Final = re.compile(r"[^a-z0-9._-]+")
_RESERVED: Final = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?")  # common practice
_FILE: Final = re.compile(r"\.[0-9]+\.|\.(?:toml|part)$", re.IGNORECASE)
_PORT: Final = re.compile(r"(.+):([0-9]{1,5})")
_SUFFIX: Final = re.compile(r"(?<=[^/.])\.[A-Za-z][A-Za-z0-9]{0,7}\Z")
_DEPTH: Final = 12  # folders below a host: deeper paths share the last one
_ENDINGS: Final = {"application/x-ndjson": ".ndjson", "text/plain": ".txt", "application/xml": ".xml"}
_TYPES: Final = mimetypes.MimeTypes(filenames=())


def stem(method: str, url: str, ending: str = "") -> PurePosixPath:
    """scheme/host,port/folder.../name, to which a number and an ending are added; a name that has the
    `ending` of its body loses it.
    """
    head, _, query = url.partition("#")[0].partition("?")
    scheme, _, rest = head.partition("://")
    authority, _, path = rest.partition("/")
    *folders, leaf = path.split("/")
    name = _plain(leaf.removesuffix(ending) or "index")
    if query:
        name += "," + _plain(query)
    if method not in ("GET", "READ"):
        name += "," + _plain(method.lower())
    parts = [_folder(scheme.lower()), _host(authority.rpartition("@")[2].lower())]
    parts += [_folder(each) for each in folders if each][:_DEPTH]
    return PurePosixPath(*parts, name)


def ending(media_type: str, url: str = "") -> str:
    """What a body's file ends in, with its dot: by its type, or as the URL does."""
    kind = media_type.partition(";")[0].strip().lower()
    found = _ENDINGS.get(kind) or _TYPES.guess_extension(kind) or ""
    if not found and kind.endswith(("+json", "+xml")):
        found = "." + kind.rpartition("+")[2]
    if not found and (match := _SUFFIX.search(_path(url))) is not None:
        found = match[0].lower()
    return found if found not in ("", TOML, PART) else ".bin"


def _path(url: str) -> str:
    return url.partition("?")[0].partition("://")[2].partition("/")[2]


def _host(authority: str) -> str:
    """An IPv6 address's colons become underlines, the port stays apart."""
    match = _PORT.fullmatch(authority)
    return f"{_plain(match[1])},{match[2]}" if match is not None else _plain(authority)


def _folder(segment: str) -> str:
    """Never as a file may be called that stands beside it."""
    name = _plain(segment)
    return f"{name}_" if _FILE.search(name) else name


def _plain(text: str) -> str:
    name = _ODD.sub("_", unquote(text).lower())[: limits.RECORDED_STEM].strip("._") or "_"
    return f"_{name}" if _RESERVED.fullmatch(name) else name
