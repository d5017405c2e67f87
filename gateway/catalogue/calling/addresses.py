"""URL text -> scheme, host, port and the rest (RFC 3986 section 3), read strictly.

What other readers take in different ways is refused: backslashes, blanks, a user part, numbers that only some
systems call an address. So the host that is checked here is the host that is dialled.
"""

import ipaddress
import re
import urllib.parse
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from adapters.port import Origin
from gateway.catalogue.document.mistakes import TextFault, character, nearest
from gateway.catalogue.keys.key import SCHEMES

PORTS: Final[Mapping[str, int]] = MappingProxyType(
    {"http": 80, "https": 443, "dav": 80, "davs": 443, "ftp": 21, "ftps": 21, "telnet": 23}
)
"""The port of a URL that tells none (IANA service names; dav and davs are HTTP).

ftps is FTP with explicit TLS (RFC 4217 section 4): it begins at port 21; 990 is for TLS from the first byte.
"""

_URL: Final = re.compile(
    r"(?P<scheme>[A-Za-z][A-Za-z0-9+.-]*)://(?P<authority>[^/?#]*)(?P<rest>.*)", re.DOTALL
)
_AUTHORITY: Final = re.compile(r"(?P<host>\[[^\]]*\]|[^:]*)(?::(?P<port>.*))?", re.DOTALL)
_LABEL: Final = re.compile(r"[A-Za-z0-9_](?:[A-Za-z0-9_-]{0,61}[A-Za-z0-9_])?")
_NUMBER: Final = re.compile(r"[0-9]+|0[xX][0-9A-Fa-f]*")
_ODD: Final = re.compile(r"[\x00-\x20\x7f\"<>\\^`{|}]|%(?![0-9A-Fa-f]{2})")
_HOST_FORM: Final = "a host name or an address"


@dataclass(frozen=True, slots=True)
class Url:
    """An absolute URL without a user part; scheme and host in lower case, the rest percent-encoded.

    `rest` begins with `/`, `?` or `#`, or is empty. `port` is None only where the scheme has no usual one.
    """

    scheme: str
    host: str
    port: int | None
    rest: str

    @property
    def origin(self) -> Origin | None:
        """Host and port, or None for a file."""
        return None if self.port is None or not self.host else (self.host, self.port)

    @property
    def text(self) -> str:
        """The URL whole, its port left out where it is the usual one."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        port = "" if self.port in {None, PORTS.get(self.scheme)} else f":{self.port}"
        return f"{self.scheme}://{host}{port}{self.rest}"


def split_url(text: str) -> Url:
    """The parts of an absolute URL; TextFault at what is wrong with it."""
    match = _URL.fullmatch(text)
    if match is None:
        near = "https://" + text if re.match(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+(/|$)", text) else ""
        raise TextFault("no URL", 0, len(text), "scheme://host/path", near)
    scheme = match["scheme"].lower()
    if scheme not in SCHEMES:
        size = len(match["scheme"])
        raise TextFault(f"the scheme {scheme}", 0, size, " ".join(SCHEMES), nearest(scheme, SCHEMES))
    odd = _ODD.search(match["rest"])
    if odd is not None:
        start = match.start("rest") + odd.start()
        raise TextFault(f"{character(odd.group())} in a URL", start, 1, "the same character as %hh")
    host, port = _split_authority(match["authority"], match.start("authority"), scheme)
    rest = urllib.parse.quote(match["rest"], ":/?#[]@!$&'()*+,;=%~")
    return Url(scheme, host, port, rest)


def _split_authority(text: str, start: int, scheme: str) -> tuple[str, int | None]:
    if "@" in text:
        allowed = "the user under `user` or `auth`, the secret as env:NAME or file:PATH"
        raise TextFault("a user part in a URL", start, text.rindex("@") + 1, allowed)
    if scheme == "file":
        if text.lower() not in {"", "localhost"}:
            raise TextFault("a host in a file URL", start, len(text), "file:///path")
        return "", None
    match = _AUTHORITY.fullmatch(text)
    if match is None or not match["host"]:
        raise TextFault("no host", start, max(1, len(text)), _HOST_FORM)
    try:
        host = read_host(match["host"])
    except TextFault as fault:
        fault.start += start
        raise
    if match["port"] is None:
        port = PORTS.get(scheme)
        if port is None:
            raise TextFault("no port", start, len(text), f"{scheme}://host:port")
        return host, port
    digits = match["port"]
    if not re.fullmatch(r"0*[0-9]{1,5}", digits, re.ASCII) or not 1 <= int(digits) <= 65_535:
        raise TextFault("no port", start + match.start("port"), max(1, len(digits)), "1 to 65535")
    return host, int(digits)


def read_host(text: str) -> str:
    """A host name or an address in its usual form, lower case, an IPv6 address without brackets.

    RFC 3986 section 3.2.2 and RFC 1123 section 2.1. TextFault for anything else.
    """
    if text.startswith("["):
        try:
            return str(ipaddress.IPv6Address(text.removeprefix("[").removesuffix("]")))
        except ValueError as error:
            raise TextFault("no IPv6 address in brackets", 0, len(text), _HOST_FORM) from error
    if not text.isascii():
        raise TextFault("a host name beyond ASCII", 0, len(text), "its xn-- form", _to_ascii(text))
    name = text.lower().removesuffix(".")
    labels = name.split(".")
    if _NUMBER.fullmatch(labels[-1]):
        try:
            return str(ipaddress.IPv4Address(name))
        except ValueError as error:
            raise TextFault("no address", 0, len(text), "an address such as 192.0.2.1") from error
    position = 0
    for label in labels:
        if not _LABEL.fullmatch(label):
            size = max(1, len(label))
            raise TextFault(
                "no host name", position if label else 0, size if label else len(text), _HOST_FORM
            )
        position += len(label) + 1
    if len(name) > 253:
        raise TextFault("a host name that is too long", 0, len(text), "at most 253 characters")
    return name


def _to_ascii(name: str) -> str:
    try:
        return name.encode("idna").decode("ascii")
    except UnicodeError:
        return ""


def is_literal_host(host: str) -> bool:
    """Whether a host is written as an address, or as `localhost`: nothing is looked up for it."""
    if host == "localhost":
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True
