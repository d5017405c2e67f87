"""Who calls in while somebody hears: what it is told is true as far as it goes, and the line ends."""

import socket
import time
from types import TracebackType
from typing import Final, Self

from gateway.catalogue.model import ReservedPort
from tests.torture.ground import BANNER
from tests.torture.talk import PATIENCE, Malformed

GREETED: Final = BANNER.encode() + b"\r\n"
BUSY: Final = ReservedPort(0).busy.encode() + b"\r\n"


class Caller:
    """One call, as a context manager."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), PATIENCE)
        self._heard = b""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.hang_up()

    def say(self, data: bytes) -> None:
        """Bytes, if the line is still there."""
        try:
            self._socket.sendall(data)
        except OSError:
            return

    def hears(self, text: bytes) -> None:
        """Wait until all that came is `text`, or the line ends, perhaps behind that nobody can take the call.
        Malformed: it is something else, or neither comes in time.
        """
        self._read(text, to_the_end=False)

    def ends(self, text: bytes) -> None:
        """The same, to the end of the line, before which some of `text` may be missing."""
        self._read(text, to_the_end=True)

    def hang_up(self) -> None:
        """Close."""
        self._socket.close()

    def _read(self, text: bytes, *, to_the_end: bool) -> None:
        deadline = time.monotonic() + PATIENCE
        while to_the_end or len(self._heard) < len(text):
            self._socket.settimeout(max(0.001, deadline - time.monotonic()))
            try:
                data = self._socket.recv(65_536)
            except TimeoutError:
                raise Malformed(f"a caller heard {self._heard!r}, and no end") from None
            except OSError:
                break
            if not data:
                break
            self._heard += data
        if not any(each.startswith(self._heard) for each in (text, BUSY, GREETED + BUSY)):
            raise Malformed(f"a caller heard {self._heard!r} instead of {text!r}")
