"""A text service on loopback, as old ones are: it greets, takes a word, answers it, and hangs up after BYE.

The signal station of the invented town: lines of ASCII that end in CR LF, over a bare TCP connection. What is
typed to it may end in CR, LF or both. Each caller has a thread of its own.
"""

from contextlib import suppress
from socket import SHUT_RDWR, socket
from socketserver import BaseRequestHandler, ThreadingTCPServer
from threading import Lock, Thread
from types import MappingProxyType, TracebackType
from typing import Final, Self

from adapters import limits

LOOPBACK: Final = "127.0.0.1"
PROMPT: Final = b"STATION> "
_POLL_SECONDS: Final = 0.05  # how soon a stop is noticed
_GREETING: Final = "Gullmarrow signal station (invented)\r\nSHIPS, WIND or BYE\r\n"
_ANSWERS: Final = MappingProxyType(
    {
        "SHIPS": "05:20  MARGIT    inward   sugar\r\n06:05  OSPREY    outward  in ballast\r\n",
        "WIND": "South-west 4, rising\r\n",
    }
)
_OTHER: Final = "The station knows SHIPS, WIND and BYE\r\n"
_GOODBYE: Final = "Fair winds\r\n"


def answer(word: str) -> tuple[str, bool]:
    """What the station says to a word, whatever its case, and whether it hangs up then."""
    word = word.strip().upper()
    if word == "BYE":
        return _GOODBYE, True
    return ("" if not word else _ANSWERS.get(word, _OTHER)), False


class _Caller(BaseRequestHandler):
    """One caller: its lines in, answers out."""

    request: socket
    server: "_Server"

    def handle(self) -> None:
        """Until one of the two hangs up; a line is as long as a request of ours at most."""
        with suppress(OSError):
            self.request.settimeout(limits.DEMO_IDLE_SECONDS)
            self.request.sendall(_GREETING.encode() + PROMPT)
            line, after_cr = bytearray(), False
            while data := self.request.recv(limits.LINE_BYTES):
                for byte in data:
                    if byte in b"\r\n":
                        ends = not (byte == 10 and after_cr)
                        after_cr = byte == 13
                        if not ends:
                            continue
                        text, over = answer(line.decode("ascii", "replace"))
                        line.clear()
                        self.request.sendall(text.encode() + (b"" if over else PROMPT))
                        if over:
                            return
                    elif len(line) < limits.LINE_BYTES:
                        after_cr = False
                        line.append(byte)

    def finish(self) -> None:
        """The line is hung up by the server's own shutdown."""
        self.server.closed(self.request)


class _Server(ThreadingTCPServer):
    daemon_threads = False  # so that closing waits for them
    block_on_close = True

    def __init__(self) -> None:
        self._lock = Lock()
        self._open: set[socket] = set()
        super().__init__((LOOPBACK, 0), _Caller)

    def process_request(self, request: socket | tuple[bytes, socket], client_address: object) -> None:
        """Remember whom to hang up on, before his thread begins."""
        assert isinstance(request, socket)
        with self._lock:
            self._open.add(request)
        super().process_request(request, client_address)

    def closed(self, connection: socket) -> None:
        with self._lock:
            self._open.discard(connection)

    def hang_up(self) -> None:
        with self._lock:
            for each in self._open:
                with suppress(OSError):
                    each.shutdown(SHUT_RDWR)


class SignalStation:
    """The station, as a context manager.

    Inside the context `url` is where it is, such as tcp://127.0.0.1:2323; afterwards no thread, connection or
    listening socket is left. OSError where no port can be had.
    """

    def __init__(self) -> None:
        self.url = ""
        self._server: _Server | None = None
        self._thread: Thread | None = None

    def __enter__(self) -> Self:
        self._server = _Server()
        self.url = f"tcp://{LOOPBACK}:{self._server.server_address[1]}"
        self._thread = Thread(
            target=self._server.serve_forever, args=(_POLL_SECONDS,), daemon=True, name="demo-signals"
        )
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._server is not None
        assert self._thread is not None
        self._server.shutdown()
        self._thread.join()
        self._server.hang_up()
        self._server.server_close()
