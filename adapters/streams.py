"""The port of streams: Calling -> Stream, an open line to a far server, or one error of `adapters.errors`."""

from dataclasses import dataclass, field
from typing import Protocol

from adapters.port import Reach


@dataclass(frozen=True, slots=True)
class Terminal:
    """What a far server that asks is told of the client's end.

    `columns` and `rows` of characters, 0 where they are not known (RFC 1073); `kind` is a name of RFC 1091.
    """

    columns: int = 0
    rows: int = 0
    kind: str = "UNKNOWN"


@dataclass(frozen=True, slots=True)
class Calling:
    """One call out, complete.

    `url` is `scheme://host:port`, with nothing behind it. `ca` is the path of a PEM file that replaces the
    usual trust anchors. `reach` says where the call may go, as in `adapters.port`.
    """

    url: str
    ca: str | None = None
    reach: Reach = field(default_factory=Reach)
    terminal: Terminal = field(default_factory=Terminal)


class Stream(Protocol):
    """One open line. Each way is used by one task at a time; both ways at once."""

    origin: str  # scheme://host:port, for WHY and logs
    datagrams: bool  # whether each `send` and each `receive` is one message of its own

    async def receive(self) -> bytes | None:
        """The next bytes as they come, at most limits.CHUNK_BYTES, or the next message, which may be empty;
        None once the far server has ended its side. BrokenOff where the line broke.

        What is not received is not read: the far server waits meanwhile.
        """
        ...

    async def send(self, data: bytes) -> None:
        """Send, and wait until there is room for more. BrokenOff where the line is gone; TooLarge for a
        message that is.
        """
        ...

    async def aclose(self) -> None:
        """Hang up when all that was sent has gone, at the latest after limits.STREAM_CLOSE_SECONDS."""
        ...

    def abort(self) -> None:
        """Hang up now; harmless at any time."""
        ...


class StreamAdapter(Protocol):
    """One protocol family. Instances are shared by all clients and live as long as the service."""

    async def open(self, calling: Calling, seconds: float) -> Stream:
        """An open line within `seconds` from now. CannotConnect, TooSlow, NotAllowed, Untrusted; BrokenOff
        where the far server closed before it was open.
        """
        ...
