"""Place -> whether its server takes a Destination for what it says (RFC 4918 section 10.3).

One server decodes the field first and parses it then, so that a name ends at its `;` or `?`, and loses TAB,
CR and LF: a document moved to `a;b` replaces `a`. Names with such characters are therefore tried on a
document of our own first, once for each server, in a way that does no harm if it goes wrong.
"""

import secrets
from collections.abc import AsyncIterator
from typing import Final

from adapters import limits
from adapters.dav.exchanges import Exchanges, Operation
from adapters.dav.places import Place, is_odd
from adapters.errors import HeadraceError
from adapters.files import Target, Upload
from adapters.http.urls import SchemeOrigin

_ASTRAY: Final = frozenset(b"?#\t\r\n")  # where these go wrong, they do so in any part of a path
_TRIED: Final = b";1?2#3.part"


class Destinations:
    """What is known of servers so far."""

    def __init__(self, exchanges: Exchanges) -> None:
        self._exchanges = exchanges
        self._known: dict[SchemeOrigin, bool] = {}

    async def understood(self, place: Place, operation: Operation, *, beside: bool = False) -> bool:
        """Whether `place`, or a plain name `beside` it, can be a Destination. Its folder is there and can be
        written in. A server that is not known is not tried where the folder's name could lead astray.
        """
        names = place.names[:-1] if beside else place.names
        if not any(is_odd(name) for name in names):
            return True
        known = self._known.get(place.origin)
        if known is None and _ASTRAY.isdisjoint(b"".join(place.names[:-1])):
            known = await self._try(place, operation)
            if len(self._known) >= limits.DAV_SERVERS:
                self._known.pop(next(iter(self._known)))
            self._known[place.origin] = known
        return bool(known)

    async def _try(self, place: Place, operation: Operation) -> bool:
        """Move an empty document to an odd name; both begin with what nobody else's names begin with."""
        prefix = b"hr-" + secrets.token_hex(5).encode()
        first, second = (place.document.beside(prefix + end) for end in (b".part", _TRIED))
        try:
            put = await self._exchanges.send("PUT", first, operation, body=Upload(_nothing, 0))
            if put.fault is not None:
                raise put.fault
            headers = ("Destination", second.url), ("Overwrite", "F")
            await self._exchanges.send("MOVE", first, operation, headers)
            return await self._exchanges.look(second, operation) is not None
        finally:
            await self._tidy(place, prefix, [first, second], operation)

    async def _tidy(self, place: Place, prefix: bytes, tried: list[Target], operation: Operation) -> None:
        """Remove what was made, wherever it went."""
        try:
            found = await self._exchanges.list(place.parent, operation)
            names = [each.name for each in found.told.entries] if found.told is not None else []
            strays = [place.document.beside(name) for name in names if name.startswith(prefix)]
        except HeadraceError:
            strays = tried
        for stray in strays:
            try:
                await self._exchanges.send("DELETE", stray, operation, tidying=True)
            except HeadraceError:
                return


async def _nothing() -> AsyncIterator[bytes]:
    yield b""
