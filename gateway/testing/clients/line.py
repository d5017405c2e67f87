"""A socket to a gateway, blocking, each wait with its end."""

import socket
import struct
import time
from typing import Final

__tracebackhide__ = True  # pytest then shows the test's own line where something did not come

_CHUNK: Final = 65_536  # bytes


class NothingCame(Exception):
    """Not in time, or never, for the other side hung up (`hung_up`)."""

    def __init__(self, hung_up: bool) -> None:
        super().__init__("the gateway hung up" if hung_up else "nothing more came in time")
        self.hung_up = hung_up


class Line:
    """A connection. `pending` came and nothing has taken it. OSError where there is none."""

    def __init__(self, host: str, port: int, seconds: float) -> None:
        self.pending = bytearray()
        self._looked = -1.0  # the deadline of the latest look
        self._socket = socket.create_connection((host, port), seconds)

    def send(self, data: bytes, seconds: float) -> None:
        """All of it. OSError where the line is gone, TimeoutError where the other side takes no more."""
        self._socket.settimeout(seconds)
        self._socket.sendall(data)

    def take(self, count: int, deadline: float) -> bytes:
        """The next `count` bytes. NothingCame where they are not there by `deadline` (time.monotonic)."""
        while len(self.pending) < count:
            self._more(deadline)
        taken = bytes(self.pending[:count])
        del self.pending[:count]
        return taken

    def take_until(self, end: bytes, deadline: float) -> bytes:
        """What comes before `end`, which is taken too. NothingCame as above."""
        searched = 0
        while (at := self.pending.find(end, searched)) < 0:
            searched = max(0, len(self.pending) - len(end) + 1)
            self._more(deadline)
        return self.take(at + len(end), deadline)[:at]

    def _more(self, deadline: float) -> None:
        """Even where the time is over there is one look: what is there already has come in time."""
        left = deadline - time.monotonic()
        if left <= 0 and self._looked == deadline:
            raise NothingCame(hung_up=False)
        self._looked = deadline
        self._socket.settimeout(max(left, 0))
        try:
            data = self._socket.recv(_CHUNK)
        except (TimeoutError, BlockingIOError) as error:
            raise NothingCame(hung_up=False) from error
        except OSError as error:
            raise NothingCame(hung_up=True) from error
        if not data:
            raise NothingCame(hung_up=True)
        self.pending += data

    def ended(self, deadline: float) -> bool:
        """Whether the other side hangs up by `deadline`; what comes before that is pending."""
        while True:
            try:
                self._more(deadline)
            except NothingCame as outcome:
                return outcome.hung_up

    def finish(self) -> None:
        """Send no more (FIN)."""
        self._socket.shutdown(socket.SHUT_WR)

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def reset(self) -> None:
        """Cut the line (RST)."""
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self._socket.close()
