"""Target -> Location: which server, as whom, and which names lead there (RFC 1738 section 3.2).

A path is relative to the folder that the server puts a login in (section 3.2.2); one whose first segment
begins with `%2F` is absolute. Empty segments lead nowhere. `;type=` means nothing here: transfers are always
binary, and a semicolon is a part of a name.
"""

import re
from dataclasses import dataclass
from typing import Final
from urllib.parse import unquote_to_bytes, urlsplit

from adapters.addresses import canonical_host
from adapters.errors import NameNotAllowed, NotAllowed, NotPossible, WrongWords
from adapters.files import Target
from adapters.port import CredentialKind, Origin

ANONYMOUS: Final = ("anonymous", "anonymous@headrace.invalid")
"""The login where a place has none: RFC 1635 asks for a mail address, RFC 2606 has hosts that are nowhere."""

IMPLICIT_PORT: Final = 990
"""The port on which TLS comes before the greeting (IANA ftps); RFC 4217 knows only AUTH TLS."""

_DEFAULT_PORT: Final = 21
TELNET: Final = re.compile(rb"\xff[\xf0-\xff]")
"""What a control connection that is a Telnet one (RFC 959 section 5.3, RFC 854) takes for a command: proftpd
does and vsftpd does not, and neither says so. A FFh before anything else goes through both as it is.
"""

_ODD: Final = re.compile(rb"\A[ \t]|[ \t]\Z|[\x01-\x1f\x7f]")
_LAST_PORT: Final = 65_535


@dataclass(frozen=True, slots=True)
class Server:
    """An FTP server and how to speak with it: TLS or not, never one for the other."""

    scheme: str
    host: str
    port: int

    @property
    def tls(self) -> bool:
        """Whether everything goes through TLS."""
        return self.scheme == "ftps"

    @property
    def implicit(self) -> bool:
        """Whether TLS starts before the greeting."""
        return self.tls and self.port == IMPLICIT_PORT

    @property
    def origin(self) -> Origin:
        """Host and port, as a catalogue names them."""
        return self.host, self.port

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.scheme}://{host}:{self.port}"


@dataclass(frozen=True, slots=True)
class Path:
    """Names from the login's folder, or from the server's root if `absolute`; none is that folder."""

    names: tuple[bytes, ...]
    absolute: bool = False

    @property
    def parent(self) -> "Path":
        """The folder that the last name is in."""
        return Path(self.names[:-1], self.absolute)

    @property
    def name(self) -> bytes:
        """The last name; empty for the login's folder or the server's root."""
        return self.names[-1] if self.names else b""

    def spelled(self, home: bytes | None) -> bytes:
        """As the server takes it: absolute where `home`, the login's folder, is known."""
        joined = b"/".join(self.names)
        if self.absolute:
            return b"/" + joined
        if home is None:
            return odd_name_guarded(joined) if joined else b"."
        return home.rstrip(b"/") + b"/" + joined if joined else home


@dataclass(frozen=True, slots=True)
class Location:
    """A target, read. `user` and `secret` are kept out of repr()."""

    server: Server
    path: Path
    root: Path


def located(target: Target) -> Location:
    """WrongWords for what is no ftp or ftps URL, NotAllowed outside the root, NameNotAllowed for a name
    that FTP cannot carry.
    """
    server, path = _read(target.url)
    root_server, root = _read(target.root)
    size = len(root.names)
    if server != root_server or path.absolute != root.absolute or path.names[:size] != root.names:
        raise NotAllowed("Outside its place")
    return Location(server, path, root)


def login_of(target: Target) -> tuple[str, str]:
    """User and password. NotPossible for credentials that FTP has no place for."""
    credentials = target.credentials
    if credentials is None:
        return ANONYMOUS
    if credentials.kind is not CredentialKind.BASIC:
        raise NotPossible("FTP takes a user and a secret")
    if any(each in credentials.name + credentials.secret for each in "\r\n\0"):
        raise WrongWords("Not a login that FTP can carry")
    return credentials.name, credentials.secret


def odd_name_guarded(name: bytes) -> bytes:
    """A name as a command's argument: `./` before one that a server could take for blanks or options."""
    return b"./" + name if name[:1] in (b" ", b"\t", b"-", b"~", b"") else name


def is_odd(name: bytes) -> bool:
    """Whether some servers are known to make another name of it: blanks at its ends, control characters."""
    return _ODD.search(name) is not None


def _read(url: str) -> tuple[Server, Path]:
    try:
        parts = urlsplit(url)
        port = parts.port or _DEFAULT_PORT
        host = parts.hostname or ""
    except ValueError as error:
        raise WrongWords("Not a URL that FTP can carry") from error
    fit = parts.scheme in {"ftp", "ftps"} and host and host.isascii() and 0 < port <= _LAST_PORT
    if not fit or any(each <= " " or each in "\x7f?#" for each in url):
        raise WrongWords("Not a URL that FTP can carry")
    if parts.username is not None or parts.password is not None:
        raise WrongWords("A URL must hold no login")
    return Server(parts.scheme, canonical_host(host), port), _path(url)


def _path(url: str) -> Path:
    # Not urlsplit's path: it cuts at `?` and `#`, which a place's path may not hold unencoded anyway.
    raw = url.partition("://")[2].partition("/")[2]
    absolute = raw[:3].lower() == "%2f"
    if absolute:
        raw = raw[3:]
    names = tuple(unquote_to_bytes(each) for each in raw.split("/") if each)
    for name in names:
        if name in {b".", b".."}:
            raise NotAllowed("Outside its place")
        if any(each in name for each in (b"/", b"\0", b"\r", b"\n")) or TELNET.search(name):
            raise NameNotAllowed("Not a name that FTP can carry")
    return Path(names, absolute)
