"""A folder -> an FTP server on loopback (RFC 959, RFC 2428, RFC 3659), by pyftpdlib, in a thread of its own.

The library is imported when a server is made, since nothing else needs it. It writes no log: the demo's own
output is on the terminal.
"""

import logging
import warnings
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

if TYPE_CHECKING:
    from pyftpdlib.servers import FTPServer

LOOPBACK: Final = "127.0.0.1"
_RIGHTS: Final = "elradfmwMT"  # pyftpdlib's letters: everything that a user can be given
_POLL_SECONDS: Final = 0.05  # how soon a stop is noticed


class FtpArea:
    """An FTP server for one user, as a context manager.

    Inside the context `url` is its root, such as ftp://127.0.0.1:2121/; afterwards no thread, connection or
    listening socket is left. OSError where no port can be had.
    """

    def __init__(self, folder: Path, user: str, password: str) -> None:
        self.url = ""
        self._folder = folder
        self._user, self._password = user, password
        self._stopping = Event()
        self._thread: Thread | None = None

    def __enter__(self) -> Self:
        with warnings.catch_warnings():
            # pyftpdlib builds on asyncore, which Python 3.11 warns about; for later ones it brings its own.
            warnings.simplefilter("ignore", DeprecationWarning)
            from pyftpdlib.authorizers import DummyAuthorizer  # noqa: PLC0415 - see the module's docstring
            from pyftpdlib.handlers import FTPHandler  # noqa: PLC0415
            from pyftpdlib.ioloop import IOLoop  # noqa: PLC0415
            from pyftpdlib.servers import FTPServer  # noqa: PLC0415

        _silence("pyftpdlib")
        authorizer = DummyAuthorizer()
        authorizer.add_user(self._user, self._password, str(self._folder), perm=_RIGHTS)
        handler = type(  # the library's settings are class attributes, so that each server needs a class
            "Handler",
            (FTPHandler,),
            {
                "authorizer": authorizer,
                "banner": "Gullmarrow quay (invented)",
                "auth_failed_timeout": 0,
                "use_gmt_times": True,
            },
        )
        server = FTPServer((LOOPBACK, 0), handler, ioloop=IOLoop())
        self.url = f"ftp://{LOOPBACK}:{server.address[1]}/"
        self._stopping.clear()
        self._thread = Thread(target=self._serve, args=(server,), daemon=True, name="demo-ftp")
        self._thread.start()
        return self

    def _serve(self, server: "FTPServer") -> None:
        try:
            while not self._stopping.is_set():
                server.serve_forever(timeout=_POLL_SECONDS, blocking=False)
        finally:
            server.close_all()  # here, because the library's loop belongs to one thread

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()


def _silence(name: str) -> None:
    """A library that prints to the terminal unless its logger has somewhere to go: now it has."""
    logger = logging.getLogger(name)
    logger.propagate = False
    if not logger.handlers:
        logger.addHandler(logging.NullHandler())
