"""A checked address -> a pair of streams, plain or TLS, that know how they ended."""

import asyncio
import ssl
from dataclasses import dataclass
from typing import Final

from aioftp.common import SSLSessionBoundContext

from adapters import limits
from adapters.addresses import Address
from adapters.errors import CannotConnect, Untrusted


class CountingReader(asyncio.StreamReader):
    """Counts what came in, so that bytes nobody asked for are noticed."""

    def __init__(self) -> None:
        super().__init__(limit=limits.READ_AHEAD_BYTES // 2)  # asyncio pauses at twice that
        self.arrived = 0

    def feed_data(self, data: bytes | bytearray) -> None:  # type: ignore[override]
        """What asyncio calls with each piece."""
        self.arrived += len(data)
        super().feed_data(data)


class PlainWriter(asyncio.StreamWriter):
    """May be forgotten unclosed: its transport goes on inside TLS, and warns of leaks itself."""

    def __del__(self) -> None:
        """asyncio's would close the transport."""


class EndingProtocol(asyncio.StreamReaderProtocol):
    """Knows a proper end (FIN, and inside TLS the farewell of RFC 8446 section 6.1) from a lost line."""

    ended_properly = False
    _inside: ssl.SSLObject | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """What asyncio calls at the start."""
        super().connection_made(transport)
        self._inside = transport.get_extra_info("ssl_object")

    def eof_received(self) -> bool | None:
        """What asyncio calls at the end: inside TLS also where the line ended without a farewell."""
        self.ended_properly = self._inside is None or _said_farewell(self._inside)
        return super().eof_received()


def _said_farewell(inside: ssl.SSLObject) -> bool:
    """Everything was read before: after a farewell there is an end to read, else more is waited for."""
    try:
        return inside.read(1) == b""
    except ssl.SSLError:
        return False


@dataclass(slots=True)
class Streams:
    """One connection, both ways."""

    reader: CountingReader
    writer: asyncio.StreamWriter
    protocol: EndingProtocol
    secure: bool = False  # inside TLS

    def abort(self) -> None:
        """Close at once; what was not sent is lost."""
        self.writer.transport.abort()


def _streams(
    transport: asyncio.Transport, reader: CountingReader, protocol: EndingProtocol, *, secure: bool = False
) -> Streams:
    loop = asyncio.get_running_loop()
    return Streams(reader, PlainWriter(transport, protocol, reader, loop), protocol, secure)


async def open_streams(address: Address, port: int) -> Streams:
    """A TCP connection to a literal address: nothing is looked up. OSError where there is none."""
    loop = asyncio.get_running_loop()
    reader = CountingReader()
    transport, protocol = await loop.create_connection(
        lambda: EndingProtocol(reader, loop=loop), str(address), port
    )
    return _streams(transport, reader, protocol)


_NO_TLS: Final = "No TLS with the far server"


async def secured(
    plain: Streams, context: ssl.SSLContext, host: str, session: ssl.SSLSession | None = None
) -> Streams:
    """The same connection inside TLS, verified for `host`, resuming `session` where one is given.

    What came in before TLS is dropped with the plain reader: no reply that was slipped in before the
    handshake is ever read as one from inside. Untrusted, or CannotConnect where there is no TLS.

    asyncio has no way to resume a session; aioftp's context, bound to one, is handed to it instead.
    """
    loop = asyncio.get_running_loop()
    reader = CountingReader()
    protocol = EndingProtocol(reader, loop=loop)
    bound = context
    if session is not None:
        bound = SSLSessionBoundContext(ssl.PROTOCOL_TLS_CLIENT, context=context, session=session)
    try:
        transport = await loop.start_tls(plain.writer.transport, protocol, bound, server_hostname=host)
    except BaseException as error:
        plain.abort()
        if isinstance(error, ssl.SSLCertVerificationError):
            raise Untrusted from error
        if isinstance(error, OSError | ValueError):  # SSLError is one; ValueError: no name
            raise CannotConnect(_NO_TLS) from error
        raise
    if transport is None:
        raise CannotConnect(_NO_TLS)
    protocol.connection_made(transport)
    return _streams(transport, reader, protocol, secure=True)
