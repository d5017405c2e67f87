"""A far server that says any bytes at all, however many and however slowly, on a thread a connection."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress

Speech = Callable[[bytes], Iterator[bytes | float]]
"""What came first -> pieces to send; a number is a pause in seconds. At its end the connection is closed."""


def found(location: str) -> bytes:
    """A redirect."""
    return f"HTTP/1.1 302 Found\r\nLocation: {location}\r\nContent-Length: 0\r\n\r\n".encode()


class RawFar:
    """`says` tells by a word in the request's first line what is answered. An `opening` is said unasked."""

    def __init__(self) -> None:
        self.speeches: dict[str, Speech] = {}
        self.opening: Speech | None = None
        self.got: list[bytes] = []
        self.connections = 0
        self.sent = 0
        self._open: list[socket.socket] = []
        self._socket = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port: int = self._socket.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def url(self) -> str:
        """Its origin as HTTP."""
        return f"http://127.0.0.1:{self.port}"

    def on(self, word: str, speech: Speech) -> None:
        """What is said where the first bytes hold `word`."""
        self.speeches[word] = speech

    def says(self, word: str, *pieces: bytes | float) -> None:
        """The same pieces each time."""
        self.on(word, lambda _: iter(pieces))

    def close(self) -> None:
        """Hang up everywhere."""
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        for each in self._open:
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                connection, _ = self._socket.accept()
                self.connections += 1
                self._open.append(connection)
                threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection: socket.socket) -> None:
        with suppress(OSError), connection:
            if self.opening is not None:
                self._say(connection, self.opening(b""))
                return
            while first := connection.recv(65_536):
                self.got.append(first)
                line = first.partition(b"\n")[0].decode("latin-1")
                speech = next((self.speeches[word] for word in self.speeches if word in line), None)
                if speech is None:
                    return
                self._say(connection, speech(first))
                return

    def _say(self, connection: socket.socket, pieces: Iterator[bytes | float]) -> None:
        for piece in pieces:
            if isinstance(piece, bytes):
                connection.sendall(piece)
                self.sent += len(piece)
            else:
                time.sleep(piece)
