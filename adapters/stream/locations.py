"""URL text -> the server that a stream leads to: `scheme://host:port`, and nothing else behind it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from adapters.addresses import canonical_host
from adapters.errors import WrongWords
from adapters.port import Origin

SCHEMES: Final = ("tcp", "tls", "telnet", "udp")

_PORTS: Final[Mapping[str, int]] = MappingProxyType({"telnet": 23})  # IANA; the others have no usual one
_URL: Final = re.compile(
    r"(?P<scheme>[A-Za-z]+)://(?P<host>\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::(?P<port>[0-9]{1,5}))?",
    re.ASCII,
)
_LAST_PORT: Final = 65_535


@dataclass(frozen=True, slots=True)
class Server:
    """Where a stream goes and what is spoken there. The host is in lower case, IPv6 without brackets."""

    scheme: str
    host: str
    port: int

    @property
    def origin(self) -> Origin:
        """Host and port, as a catalogue names them."""
        return self.host, self.port

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.scheme}://{host}:{self.port}"


def located(url: str) -> Server:
    """WrongWords for what is no URL of a stream."""
    found = _URL.fullmatch(url)
    if found is None or found["scheme"].lower() not in SCHEMES:
        raise WrongWords("Not a URL that leads to a stream")
    scheme = found["scheme"].lower()
    port = _PORTS.get(scheme, 0) if found["port"] is None else int(found["port"])
    if not 0 < port <= _LAST_PORT:
        raise WrongWords("Not a port")
    return Server(scheme, canonical_host(found["host"]), port)
