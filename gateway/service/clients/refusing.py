"""a line on which there is no room -> its 421 at once, and time to hang up."""

import asyncio
import socket
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from adapters import limits

_PIECE: Final = 4_096  # bytes that nobody wants, read at a time


class Refused:
    """A line that was told that it may not stay. What still comes is read until the client hangs up, since
    TCP would reset the line otherwise, which could take the 421 with it.
    """

    def __init__(self, line: socket.socket, farewell: bytes, gone: Callable[["Refused"], None]) -> None:
        self._line, self._gone = line, gone
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(limits.LINGER_SECONDS, self.abort)
        line.setblocking(False)
        loop.add_reader(line, self._read)
        self._tell(farewell)

    def _tell(self, farewell: bytes) -> None:
        """A new line takes some kilobytes at once."""
        with suppress(OSError):  # whoever is gone already is noticed by reading
            self._line.send(farewell)
            self._line.shutdown(socket.SHUT_WR)

    def _read(self) -> None:
        try:
            more = self._line.recv(_PIECE)
        except BlockingIOError:
            return
        except OSError:
            more = b""
        if not more:
            self.abort()

    def abort(self) -> None:
        """Close the line now."""
        self._timer.cancel()
        asyncio.get_running_loop().remove_reader(self._line)
        self._line.close()
        self._gone(self)
