"""A folder -> a WebDAV server on loopback (RFC 4918), by WsgiDAV behind cheroot, in threads of its own.

The libraries are imported when a server is made, since nothing else needs them. They write no log: the
demo's own output is on the terminal.
"""

import logging
from pathlib import Path
from threading import Thread
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

if TYPE_CHECKING:
    from cheroot.wsgi import Server
    from wsgidav.wsgidav_app import WsgiDAVApp

LOOPBACK: Final = "127.0.0.1"
_THREADS: Final = 10  # requests served at one time; an APPEND is two
_STOP_SECONDS: Final = 1  # for requests in flight


class DavArea:
    """A WebDAV server for one user, as a context manager.

    Inside the context `url` is its root, such as dav://127.0.0.1:8080/; afterwards no thread, connection or
    listening socket is left. OSError where no port can be had.
    """

    def __init__(self, folder: Path, user: str, password: str) -> None:
        self.url = ""
        self._folder = folder
        self._user, self._password = user, password
        self._server: Server | None = None
        self._thread: Thread | None = None

    def __enter__(self) -> Self:
        from cheroot.wsgi import Server  # noqa: PLC0415 - see the module's docstring

        logging.getLogger("wsgidav").setLevel(logging.CRITICAL)

        class Quiet(Server):
            def error_log(self, *_: object, **__: object) -> None:
                """Nothing."""

        server = Quiet(
            (LOOPBACK, 0),
            self._application(),
            numthreads=_THREADS,
            max=_THREADS,
            server_name="Gullmarrow",
            shutdown_timeout=_STOP_SECONDS,
        )
        server.prepare()
        self.url = f"dav://{LOOPBACK}:{server.bind_addr[1]}/"
        self._server = server
        self._thread = Thread(target=server.serve, daemon=True, name="demo-dav")
        self._thread.start()
        return self

    def _application(self) -> "WsgiDAVApp":
        from wsgidav.fs_dav_provider import FilesystemProvider  # noqa: PLC0415
        from wsgidav.wsgidav_app import WsgiDAVApp  # noqa: PLC0415

        return WsgiDAVApp(
            {
                "provider_mapping": {"/": FilesystemProvider(str(self._folder))},
                "simple_dc": {"user_mapping": {"*": {self._user: {"password": self._password}}}},
                "http_authenticator": {
                    "accept_basic": True,
                    "accept_digest": False,
                    "default_to_digest": False,
                },
                "dir_browser": {"enable": False},
                "suppress_version_info": True,
                "logging": {"enable": False},
                "verbose": 0,
            }
        )

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._server is not None:
            self._server.stop()
        if self._thread is not None:
            self._thread.join()
