"""A TCP connection and an SSLContext -> the same connection inside TLS, for the name that was asked for.

Not asyncio's TLS, which hangs up both ways at the far server's farewell and takes a line that was cut for
one that ended. Here each way ends by itself (RFC 8446 section 6.1), and nothing is deciphered before it is
asked for.
"""

import ssl
from contextlib import suppress
from typing import Final

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, Untrusted
from adapters.stream.connection import Connection

_NO_TLS: Final = "No TLS with the far server"


class Secured:
    """An `adapters.streams.Stream` inside TLS."""

    datagrams = False

    def __init__(self, line: Connection, context: ssl.SSLContext, host: str) -> None:
        self.origin = line.origin
        self._line = line
        self._incoming = ssl.MemoryBIO()
        self._outgoing = ssl.MemoryBIO()
        self._inside = context.wrap_bio(self._incoming, self._outgoing, server_hostname=host)

    async def shake_hands(self) -> None:
        """Untrusted where the certificate is not good, BrokenOff where the far server closed, else
        CannotConnect.
        """
        while True:
            try:
                self._inside.do_handshake()
            except ssl.SSLWantReadError:
                if not await self._more():
                    raise BrokenOff from None
            except ssl.SSLError as error:
                self._flush()  # the alert that says why
                if isinstance(error, ssl.SSLCertVerificationError):
                    raise Untrusted from error
                raise CannotConnect(_NO_TLS) from error
            else:
                self._flush()
                return

    async def receive(self) -> bytes | None:
        """The next bytes, None at the far server's farewell. BrokenOff where the line ended without one."""
        while True:
            try:
                return self._inside.read(limits.CHUNK_BYTES) or None
            except ssl.SSLWantReadError:
                await self._more()
            except ssl.SSLError as error:  # an alert, noise, or an end without a farewell
                self._flush()
                self.abort()
                raise BrokenOff from error

    async def send(self, data: bytes) -> None:
        """All of it is on its way, and there is room for more."""
        for start in range(0, len(data), limits.CHUNK_BYTES):
            try:
                self._inside.write(data[start : start + limits.CHUNK_BYTES])
            except ssl.SSLError as error:
                raise BrokenOff from error
            self._line.write(self._outgoing.read())
            await self._line.room()

    async def aclose(self) -> None:
        """Say farewell, and hang up as `Connection` does."""
        with suppress(ssl.SSLError):  # it wants the far server's own farewell, or there was none to say it to
            self._inside.unwrap()
        self._flush()
        await self._line.aclose()

    def abort(self) -> None:
        """At once; what was not sent is lost."""
        self._line.abort()

    def _flush(self) -> None:
        if self._outgoing.pending:
            self._line.answer(self._outgoing.read())

    async def _more(self) -> bool:
        """Whether more came in from the far server; else it has ended its side."""
        self._flush()
        await self._line.answered()
        data = await self._line.receive()
        if data is None:
            self._incoming.write_eof()
            return False
        self._incoming.write(data)
        return True


async def secured(line: Connection, context: ssl.SSLContext, host: str) -> Secured:
    """The line inside TLS, or an error; it is hung up then."""
    try:
        made = Secured(line, context, host)
        await made.shake_hands()
    except ValueError as error:  # no name that a certificate could have
        line.abort()
        raise CannotConnect(_NO_TLS) from error
    except BaseException:
        line.abort()
        raise
    return made
