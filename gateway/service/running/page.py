"""a gateway's numbers, whether it is alive and whether it is ready -> answers to HTTP at a port of loopback.

/metrics is for Prometheus. /health is 200 where the gateway's loop answers, and /ready where it can take
clients and keep what they hand over; else both are 503 and say why, a line each. They are answered by threads
of their own, so that a loop that stands still is seen.
"""

import asyncio
import socket
from collections.abc import Callable, Iterable, Sequence
from socketserver import ThreadingMixIn
from threading import Thread
from typing import Any, Final, TypeAlias
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer

from prometheus_client import make_wsgi_app

from adapters import limits
from gateway.service.running.metrics import Number, registry

LOOPBACK: Final = "127.0.0.1"
Respond: TypeAlias = Callable[[str, list[tuple[str, str]]], object]
_STANDING_STILL: Final = "The gateway's loop does not answer"


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True


class _Handler(WSGIRequestHandler):
    timeout = limits.PAGE_SECONDS

    def log_message(self, *_: Any) -> None:
        """Nothing: it is asked every few seconds."""


class Page:
    """The port. Nobody but this computer reaches it.

    `troubles` is called on the loop, and tells why the gateway is not ready; `disk` the same, on a thread.
    """

    def __init__(
        self,
        numbers: Iterable[Number],
        troubles: Callable[[], Sequence[str]],
        disk: Callable[[], Sequence[str]] = tuple,
    ) -> None:
        self._metrics = make_wsgi_app(registry(numbers))
        self._troubles, self._disk = troubles, disk
        self._loop = asyncio.get_running_loop()
        self._running: tuple[WSGIServer, Thread] | None = None

    def start(self, port: int, given: Sequence[socket.socket] = ()) -> None:
        """Answer from now on, at the socket `given` if there is one. OSError where the port cannot be had."""
        listening = given[0] if given else socket.create_server((LOOPBACK, port))
        server = _Server((LOOPBACK, port), _Handler, bind_and_activate=False)
        server.socket.close()
        server.socket = listening
        server.server_address = listening.getsockname()
        server.server_name, server.server_port = LOOPBACK, listening.getsockname()[1]
        server.setup_environ()
        server.set_app(self._answer)
        thread = Thread(target=server.serve_forever, name="page", daemon=True)
        thread.start()
        self._running = server, thread

    @property
    def sockets(self) -> list[int]:
        """The descriptor that listens, or none."""
        return [] if self._running is None else [self._running[0].fileno()]

    async def stop(self) -> None:
        """Answer no more."""
        if self._running is not None:
            server, thread = self._running
            self._running = None
            await asyncio.to_thread(server.shutdown)
            server.server_close()
            await asyncio.to_thread(thread.join)

    # On threads of its own

    def _answer(self, request: dict[str, Any], respond: Respond) -> Iterable[bytes]:
        path = request.get("PATH_INFO")
        if path == "/metrics":
            answer: Iterable[bytes] = self._metrics(request, respond)
            return answer
        if path not in ("/health", "/ready"):
            return _said(respond, "404 Not Found", ["/metrics, /health and /ready are here"])
        found = self._asked()
        if path == "/health":
            found = [each for each in found if each == _STANDING_STILL]
        else:
            found = [*found, *self._disk()]
        return _said(respond, "503 Service Unavailable" if found else "200 OK", found or [path[1:]])

    def _asked(self) -> list[str]:
        """What the loop says."""
        try:
            return [*asyncio.run_coroutine_threadsafe(self._told(), self._loop).result(limits.PAGE_SECONDS)]
        except (TimeoutError, RuntimeError):  # the latter: it has ended
            return [_STANDING_STILL]

    async def _told(self) -> Sequence[str]:
        return self._troubles()


def _said(respond: Respond, status: str, lines: Sequence[str]) -> list[bytes]:
    body = "".join(f"{each}\n" for each in lines).encode()
    headers = [("Content-Type", "text/plain; charset=utf-8"), ("Content-Length", str(len(body)))]
    respond(status, [*headers, ("Cache-Control", "no-store")])
    return [body]
