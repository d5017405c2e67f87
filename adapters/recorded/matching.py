"""Request -> what it has in common with every request that is the same.

The method, and the URL as RFC 3986 section 6.2.2 normalises it, with the parts of its query in any order; of
a RENAME or COPY both URLs. What was hidden in a query does not count: a gateway without any keys may send no
such parameter at all. Bodies are the same where their bytes are, or as JSON by value (RFC 8259), or as a form
by its pairs in any order.
"""

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Final, TypeAlias
from urllib.parse import parse_qsl

from adapters import limits
from adapters.recorded.exchange import Asked, Headers
from adapters.redaction import HIDDEN

Key: TypeAlias = tuple[str, str, str]
_PORTS: Final = {"http": "80", "https": "443", "ftp": "21", "ftps": "21", "dav": "80", "davs": "443"}
_PORT: Final = re.compile(r"(.*?)(?::(\d*))?", re.DOTALL)
_TRIPLET: Final = re.compile(r"%([0-9A-Fa-f]{2})")
_UNRESERVED: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~")
_FOLDERS: Final = frozenset({"LIST", "MKDIR"})


def key_of(asked: Asked) -> Key:
    """The method, the URL and the other URL, so that those of equal requests are equal."""
    folder = asked.method in _FOLDERS
    return asked.method.upper(), normal(asked.url, folder), normal(asked.to, False) if asked.to else ""


@lru_cache(maxsize=limits.RECORDED_URLS)
def normal(url: str, folder: bool = False, in_order: bool = False) -> str:
    """The URL as it is compared; `folder`: with or without a slash at its end is the same; `in_order`: the
    order of its query counts.
    """
    head, mark, query = url.partition("#")[0].partition("?")
    scheme, _, rest = head.partition("://")
    authority, slash, path = rest.partition("/")
    scheme = scheme.lower()
    host = _host(scheme, _triplets(authority.rpartition("@")[2].lower()))
    path = _without_dots(_triplets(slash + path)) or "/"
    if folder and not path.endswith("/"):
        path += "/"
    parts = query.split("&")
    seen = [_triplets(part) for part in parts if not part.endswith(f"={HIDDEN}")]
    seen = seen if in_order else sorted(seen)
    return f"{scheme}://{host}{path}{mark if seen else ''}{'&'.join(seen)}"


def _host(scheme: str, authority: str) -> str:
    match = _PORT.fullmatch(authority)
    if match is None or match[2] is None:
        return authority
    return match[1] if match[2] in ("", _PORTS.get(scheme)) else authority


def _triplets(text: str) -> str:
    """Percent-encoding in capitals, and none where it is not needed (RFC 3986 sections 6.2.2.1 and .2)."""

    def each(match: re.Match[str]) -> str:
        character = chr(int(match[1], 16))
        return character if character in _UNRESERVED else match.group().upper()

    return _TRIPLET.sub(each, text) if "%" in text else text


def _without_dots(path: str) -> str:
    """The path without segments `.` and `..` (RFC 3986 section 5.2.4); empty segments stay."""
    if "/." not in path:
        return path
    kept: list[str] = []
    segments = path.split("/")[1:]
    for segment in segments:
        if segment == "..":
            kept = kept[:-1]
        elif segment != ".":
            kept.append(segment)
    if segments[-1] in (".", ".."):
        kept.append("")
    return "/" + "/".join(kept)


@dataclass(frozen=True, slots=True)
class Form:
    """A body as it is compared: how, by which digest, and how long it was."""

    kind: str
    digest: str = ""
    size: int = 0

    def is_like(self, other: "Form") -> bool:
        """Whether both bodies say the same."""
        return (self.kind, self.digest) == (other.kind, other.digest)


NOTHING: Final = Form("nothing")
"""No body, or an empty one."""


def media_type(headers: Headers) -> str:
    """Content-Type's value, or empty."""
    return next((value for name, value in headers if name.lower() == "content-type"), "")


def form_of(chunks: Iterable[bytes], media_type: str = "") -> Form:
    """Equal for bodies that say the same. Large ones are not held in memory."""
    digest, size = hashlib.sha256(), 0
    held: list[bytes] = []
    for chunk in chunks:
        digest.update(chunk)
        size += len(chunk)
        if size <= limits.RECORDED_FORM:
            held.append(chunk)
        else:
            held.clear()
    if not size:
        return NOTHING
    if size <= limits.RECORDED_FORM:
        kind = media_type.partition(";")[0].strip().lower()
        try:
            if kind == "application/json" or kind.endswith("+json"):
                return Form("json", _sum(_value(_parsed(b"".join(held)))), size)
            if kind == "application/x-www-form-urlencoded":
                return Form("form", _sum(sorted(_pairs(b"".join(held)))), size)
        except (ValueError, RecursionError):
            pass  # not what it says it is
    return Form("bytes", digest.hexdigest(), size)


def _sum(value: object) -> str:
    return hashlib.sha256(repr(value).encode("utf-8", "surrogatepass")).hexdigest()


def _pairs(data: bytes) -> list[tuple[str, str]]:
    return parse_qsl(data.decode("ascii"), keep_blank_values=True, encoding="latin-1")


def _parsed(data: bytes) -> object:
    return json.loads(data, parse_int=Decimal, parse_float=Decimal, object_pairs_hook=_Members)


class _Members(list[tuple[str, object]]):
    """Of an object, in order."""


def _value(parsed: object) -> object:
    """The same for equal values: members in any order, numbers however they are written."""
    if isinstance(parsed, _Members):
        return "object", sorted((name, _value(value)) for name, value in dict(parsed).items())
    if isinstance(parsed, list):
        return "array", [_value(each) for each in parsed]
    if isinstance(parsed, Decimal) and parsed.is_finite():
        sign, digits, exponent = parsed.as_tuple()
        text = "".join(map(str, digits)).lstrip("0")
        short = text.rstrip("0")
        return "number", bool(sign and short), short, int(exponent) + len(text) - len(short) if short else 0
    return type(parsed).__name__, str(parsed)
