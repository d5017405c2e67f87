"""a line on which there is no room -> its 421 at once, and time to hang up."""

import asyncio
import socket
from collections.abc import Callable
from typing import Final

from adapters import limits

_PIECE: Final = 4_096  # bytes that nobody wants, read at a time


class Refused:
    """A line that was told that it may not stay. What still comes is read until the client hangs up, since
    TCP would reset the line otherwise, which could take the 421 with it.
    """

    def __init__(self, line: socket.socket, farewell: bytes, gone: Callable[["Refused"], None]) -> None:
        self._line, self._farewell, self._gone = line, farewell, gone
        self._timer = asyncio.get_running_loop().call_later(limits.LINGER_SECONDS, self.abort)

    def tell(self) -> None:
        """Say it at once, for which a new line has room."""
        try:
            self._line.setblocking(False)
            self._line.send(self._farewell)
            self._line.shutdown(socket.SHUT_WR)
            asyncio.get_running_loop().add_reader(self._line, self._read)
        except OSError:
            self.abort()

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
        """Close the line now, if that was not done."""
        if self._line.fileno() < 0:
            return
        self._timer.cancel()
        asyncio.get_running_loop().remove_reader(self._line)
        self._line.close()
        self._gone(self)
