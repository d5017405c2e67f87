"""Site -> two loopback servers, one HTTP and one HTTPS, on free ports, with the standard library.

HTTP/1.1 with kept connections (RFC 9112 section 9.3). Each connection has a thread of its own, and the TLS
handshake is done there, so that a client that never finishes it holds nobody up. Nothing is printed.
"""

import ssl
from contextlib import ExitStack, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from socket import SHUT_RDWR, socket
from threading import Lock, Thread, current_thread
from types import TracebackType
from typing import Final, Self
from urllib.parse import unquote, urlsplit

from adapters import limits
from demo_site.messages import SiteRequest, SiteResponse
from demo_site.site import Site

LOOPBACK: Final = "127.0.0.1"
CA_NAME: Final = "demo-ca.pem"
_POLL_SECONDS: Final = 0.1  # how soon a stop is noticed


class _Handler(BaseHTTPRequestHandler):
    """One connection: requests off the wire to the site, its answers back."""

    protocol_version = "HTTP/1.1"
    timeout = limits.DEMO_IDLE_SECONDS
    wbufsize = -1  # header section and body in one segment
    disable_nagle_algorithm = True
    server: "_Server"

    def do_GET(self) -> None:
        """Answer any method: the site knows which of them it takes."""
        body = self._read_body()
        if body is None:
            return
        target = urlsplit(self.path)
        headers = tuple(self.headers.items())
        request = SiteRequest(self.command, unquote(target.path), target.query, headers, body)
        self._send(self.server.site.respond(request))

    do_HEAD = do_POST = do_PUT = do_PATCH = do_DELETE = do_OPTIONS = do_GET  # noqa: N815 - http.server's names

    def _read_body(self) -> bytes | None:
        """The whole body; None where it cannot be taken, which is then answered and ends the connection."""
        if "Transfer-Encoding" in self.headers:
            self.send_error(411)  # RFC 9112 section 6.3: a server may insist on a length
            return None
        length = self.headers.get("Content-Length", "0").strip()
        if not (length.isascii() and length.isdigit()):
            self.send_error(400)
            return None
        if len(length) > 9 or int(length) > limits.DEMO_BODY_BYTES:
            self.send_error(413)
            return None
        body = self.rfile.read(int(length))
        if len(body) < int(length):  # the client left in the middle: there is nobody to answer
            self.close_connection = True
            return None
        return body

    def _send(self, response: SiteResponse) -> None:
        self.send_response_only(response.status)
        self.send_header("Date", self.date_time_string())
        for name, value in response.headers:
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(response.body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - http.server's name
        """Say nothing: the demo's own output is on the terminal."""


class _Server(ThreadingHTTPServer):
    """A server that can end its kept connections, which the standard one leaves open."""

    def __init__(self, site: Site, context: ssl.SSLContext | None) -> None:
        self.site = site
        self._context = context
        self._lock = Lock()
        self._open: dict[Thread, socket] = {}
        super().__init__((LOOPBACK, 0), _Handler)

    def get_request(self) -> tuple[socket, object]:
        """Accept one connection; the TLS handshake waits for the connection's own thread."""
        connection, address = super().get_request()
        if self._context is not None:
            connection = self._context.wrap_socket(
                connection, server_side=True, do_handshake_on_connect=False
            )
        return connection, address

    def process_request(self, request: socket | tuple[bytes, socket], client_address: object) -> None:
        """Give the connection a thread of its own and remember both."""
        assert isinstance(request, socket)
        thread = Thread(
            target=self._serve, args=(request, client_address), daemon=True, name="demo-connection"
        )
        with self._lock:
            self._open[thread] = request
        thread.start()

    def _serve(self, connection: socket, client_address: object) -> None:
        try:
            if isinstance(connection, ssl.SSLSocket):
                connection.settimeout(limits.DEMO_IDLE_SECONDS)
                connection.do_handshake()
            self.finish_request(connection, client_address)
        except OSError:  # a broken connection or a refused handshake (SSLError) is the client's own affair
            pass
        finally:
            self.shutdown_request(connection)
            with self._lock:
                self._open.pop(current_thread(), None)

    def stop(self) -> None:
        """Refuse new connections, cut the open ones, and wait until their threads are gone."""
        self.shutdown()
        self.server_close()
        with self._lock:
            left = dict(self._open)
        for connection in left.values():
            # The plain socket's shutdown: the TLS one would take the cipher away under the reading thread.
            with suppress(OSError):
                socket.shutdown(connection, SHUT_RDWR)
        for thread in left:
            thread.join()


class DemoServers:
    """The demo site on loopback, as a context manager.

    `folder` is the caller's temporary folder; the certificate of a throw-away authority, made anew for
    every object, is written into it as demo-ca.pem. Its private key never touches the folder. Inside the
    context `http_url` and `https_url` are origins without a trailing slash; afterwards no thread and no
    socket is left. OSError where no port can be had.
    """

    def __init__(self, folder: Path, site: Site | None = None) -> None:
        self.site = site if site is not None else Site()
        self.ca_file = folder / CA_NAME
        self.http_url = ""
        self.https_url = ""
        self._running = ExitStack()

    def __enter__(self) -> Self:
        import trustme  # noqa: PLC0415 - eight megabytes that only the demo needs

        authority = trustme.CA(organization_name="Gullmarrow demo (invented)")
        authority.cert_pem.write_to_path(str(self.ca_file))
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        authority.issue_cert(LOOPBACK, "localhost").configure_cert(context)
        with ExitStack() as starting:
            self.http_url = f"http://{LOOPBACK}:{self._start(starting, None)}"
            self.https_url = f"https://{LOOPBACK}:{self._start(starting, context)}"
            self._running = starting.pop_all()
        return self

    def _start(self, starting: ExitStack, context: ssl.SSLContext | None) -> int:
        """Start one server and have it stopped with `starting`; the port it listens at."""
        server = _Server(self.site, context)
        thread = Thread(target=server.serve_forever, args=(_POLL_SECONDS,), daemon=True, name="demo-server")
        thread.start()
        starting.callback(thread.join)
        starting.callback(server.stop)
        return server.server_port

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._running.close()
