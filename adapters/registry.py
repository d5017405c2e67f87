"""URL scheme -> adapter factory, imported when first asked for.

Others join by the entry point group `headrace.adapters`: the entry point's name is the scheme, its value
`package.module:factory`, a callable without arguments that gives an `adapters.port.Adapter`. A scheme that
is built in cannot be taken over, and of two packages that claim one scheme the first by value has it: both
are logged. One factory may stand under several schemes; one instance of it then serves them all.
"""

import logging
import re
from collections.abc import Iterable, Iterator, Mapping
from importlib.metadata import EntryPoint, entry_points
from typing import Final, cast

from adapters.errors import NotPossible
from adapters.port import AdapterFactory, Schemes

ENTRY_POINT_GROUP: Final = "headrace.adapters"

BUILT_IN: Final[Mapping[str, str]] = {
    "dav": "adapters.dav.adapter:DavAdapter",
    "davs": "adapters.dav.adapter:DavAdapter",
    "ftp": "adapters.ftp.adapter:FtpAdapter",
    "ftps": "adapters.ftp.adapter:FtpAdapter",
    "file": "adapters.local.adapter:LocalAdapter",
    "http": "adapters.http.adapter:HttpAdapter",
    "https": "adapters.http.adapter:HttpAdapter",
    "tcp": "adapters.stream.adapter:LineAdapter",
    "telnet": "adapters.stream.adapter:LineAdapter",
    "tls": "adapters.stream.adapter:LineAdapter",
    "udp": "adapters.stream.adapter:LineAdapter",
}
"""Scheme -> `module:factory`."""

_SCHEME: Final = re.compile(r"[a-z][a-z0-9+.-]{0,19}", re.ASCII)  # RFC 3986 section 3.1, in lower case

_logger = logging.getLogger(__name__)


class Registry(Schemes):
    """A read-only mapping, sorted by scheme. A value is imported when it is looked at.

    NotPossible where a package's factory cannot be imported: its fault is not the gateway's end.
    """

    def __init__(self, built_in: Mapping[str, str], others: Iterable[EntryPoint] = ()) -> None:
        known = {
            scheme: EntryPoint(name=scheme, value=value, group=ENTRY_POINT_GROUP)
            for scheme, value in built_in.items()
        }
        for entry in sorted(others, key=lambda each: (each.name.lower(), each.value)):
            scheme = entry.name.lower()
            if _SCHEME.fullmatch(scheme) is None:
                _logger.warning("%r is no URL scheme: adapter %s left out", entry.name, entry.value)
            elif scheme in known:
                _logger.warning("%s has an adapter already: %s left out", scheme, entry.value)
            else:
                known[scheme] = entry
        self._entries = dict(sorted(known.items()))
        self._loaded: dict[str, AdapterFactory] = {}

    def __getitem__(self, scheme: str) -> AdapterFactory:
        factory = self._loaded.get(scheme)
        if factory is None:
            entry = self._entries[scheme]
            try:
                factory = cast(AdapterFactory, entry.load())
            except Exception as error:
                raise NotPossible(f"The adapter for {scheme} is broken") from error
            self._loaded[scheme] = factory
        return factory

    def __contains__(self, scheme: object) -> bool:
        return scheme in self._entries  # without importing it, as Mapping's own would

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def lookup(self, scheme: str) -> AdapterFactory:
        """The factory for a scheme in any case, or NotPossible, which names the scheme if it is one."""
        wanted = scheme.lower()
        if wanted in self:
            return self[wanted]
        raise NotPossible(f"No adapter for {wanted}" if _SCHEME.fullmatch(wanted) else "No adapter for that")


SCHEMES: Final = Registry(BUILT_IN, entry_points(group=ENTRY_POINT_GROUP))
"""Every scheme that this installation can fetch."""


def lookup(scheme: str) -> AdapterFactory:
    """The factory for a scheme (case-blind), or NotPossible."""
    return SCHEMES.lookup(scheme)
