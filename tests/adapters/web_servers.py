"""Real web servers on loopback, each a process of its own over a folder: plain or TLS, ended by its pid.

    with served_folder() as folder, apache(folder) as server:
        server.url, server.ca

All of them serve WebDAV over the whole folder; Apache, nginx and lighttpd list folders as HTML besides. A
server that is not installed is a skip that says so; `.ci/run` counts skips as failures.
"""

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
import trustme

from adapters.port import Reach

LOOPBACK = "127.0.0.1"
START_SECONDS = 15.0
STOP_SECONDS = 5.0
UNPACKED = Path(__file__).parents[2] / ".servers"  # packages that cannot be installed beside others
_PATH = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin", f"{UNPACKED}/usr/sbin"])
_APACHE_MODULES = Path("/usr/lib/apache2/modules")


@dataclass(frozen=True)
class WebServer:
    """`url` is http or https with the port, without a slash at the end; `ca` for https."""

    url: str
    port: int
    folder: Path
    pid: int
    ca: str | None = None

    @property
    def dav_url(self) -> str:
        """The same with a WebDAV scheme."""
        return "dav" + self.url.removeprefix("http")

    @property
    def reach(self) -> Reach:
        """What names this server in a catalogue."""
        return Reach(named=frozenset({(LOOPBACK, self.port)}))


@contextmanager
def served_folder() -> Iterator[Path]:
    """A folder that servers which run as somebody else may read and write."""
    with tempfile.TemporaryDirectory(prefix="headrace-web-") as name:
        Path(name).chmod(0o755)
        folder = Path(name) / "files"
        folder.mkdir()
        folder.chmod(0o777)
        yield folder


@contextmanager
def apache(folder: Path, *, tls: bool = False) -> Iterator[WebServer]:
    """Apache httpd with mod_dav, mod_dav_fs and mod_autoindex."""
    binary = _binary("apache2")
    modules = ["mpm_event", "authz_core", "mime", "dir", "autoindex", "dav", "dav_fs"]

    def configure(home: Path, port: int) -> Sequence[str]:
        lines = [f"LoadModule {name}_module {_APACHE_MODULES}/mod_{name}.so" for name in modules]
        if tls:
            lines.append(f"LoadModule ssl_module {_APACHE_MODULES}/mod_ssl.so")
        if os.geteuid() == 0:  # it refuses to serve as root
            lines += ["User www-data", "Group www-data"]
        lines += [
            f"ServerRoot {home}",
            f"ServerName {LOOPBACK}:{port}",
            f"Listen {LOOPBACK}:{port}",
            f"PidFile {home}/pid",
            f"ErrorLog {home}/error.log",
            "LogLevel warn",
            "StartServers 1",
            "ServerLimit 2",
            "ThreadsPerChild 25",
            "MaxRequestWorkers 50",
            f"DavLockDB {home}/locks/db",
            "TypesConfig /dev/null",
            "AddType text/plain .txt",
            "AddType application/json .json",
            f"DocumentRoot {folder}",
            "AllowEncodedSlashes NoDecode",
            f"<Directory {folder}>",
            "Dav On",
            "Require all granted",
            "Options Indexes",
            "AllowOverride None",
            "IndexOptions FancyIndexing HTMLTable NameWidth=*",
            "IndexIgnore .",
            "</Directory>",
        ]
        if tls:
            lines += ["SSLEngine on", f"SSLCertificateFile {home}/server.pem"]
        (home / "locks").mkdir()
        (home / "locks").chmod(0o777)
        (home / "server.conf").write_text("\n".join(lines) + "\n")
        return [binary, "-f", str(home / "server.conf"), "-DFOREGROUND"]

    with _running(folder, configure, tls=tls) as server:
        yield server


@contextmanager
def nginx(folder: Path, *, tls: bool = False, propfind: bool = True) -> Iterator[WebServer]:
    """nginx with its dav module and, for PROPFIND, the dav-ext module."""
    binary = _binary("nginx")
    extension = next((each for each in _NGINX_EXTENSIONS if each.exists()), None)
    if propfind and extension is None:
        pytest.skip("nginx's dav-ext module is not installed: libnginx-mod-http-dav-ext")

    def configure(home: Path, port: int) -> Sequence[str]:
        (home / "server.conf").write_text(
            "\n".join(
                [
                    "daemon off;",
                    "master_process off;",
                    f"pid {home}/pid;",
                    f"error_log {home}/error.log warn;",
                    *([f"load_module {extension};"] if propfind else []),
                    *(["user root root;"] if os.geteuid() == 0 else []),
                    "events { worker_connections 400; }",
                    "http {",
                    "  access_log off;",
                    "  types { text/plain txt; application/json json; }",
                    "  default_type application/octet-stream;",
                    *(
                        f"  {name}_temp_path {home}/{name};"
                        for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
                    ),
                    "  client_max_body_size 0;",
                    "  server {",
                    f"    listen {LOOPBACK}:{port}{' ssl' if tls else ''};",
                    *(
                        [
                            f"    ssl_certificate {home}/server.pem;",
                            f"    ssl_certificate_key {home}/server.pem;",
                        ]
                        if tls
                        else []
                    ),
                    f"    root {folder};",
                    "    merge_slashes off;",
                    "    autoindex on;",
                    "    dav_methods PUT DELETE MKCOL COPY MOVE;",
                    *(["    dav_ext_methods PROPFIND OPTIONS;"] if propfind else []),
                    "  }",
                    "}",
                ]
            )
        )
        return [binary, "-p", str(home), "-c", str(home / "server.conf"), "-e", str(home / "error.log")]

    with _running(folder, configure, tls=tls) as server:
        yield server


_NGINX_EXTENSIONS = [
    Path(each) / "ngx_http_dav_ext_module.so"
    for each in ("/usr/lib/nginx/modules", "/usr/lib64/nginx/modules", "/usr/share/nginx/modules")
]


@contextmanager
def lighttpd(folder: Path, *, tls: bool = False) -> Iterator[WebServer]:
    """lighttpd with mod_webdav and mod_dirlisting."""
    binary = _binary("lighttpd")
    for module in ("webdav", *(["openssl"] if tls else [])):
        if not any((each / f"mod_{module}.so").exists() for each in _LIGHTTPD_MODULES):
            pytest.skip(f"lighttpd's {module} module is not installed: lighttpd-mod-{module}")

    def configure(home: Path, port: int) -> Sequence[str]:
        (home / "uploads").mkdir()
        (home / "server.conf").write_text(
            "\n".join(
                [
                    f'server.modules = ("mod_webdav", "mod_dirlisting"{_LIGHTTPD_TLS if tls else ""})',
                    *(['ssl.engine = "enable"', f'ssl.pemfile = "{home}/server.pem"'] if tls else []),
                    f'server.document-root = "{folder}"',
                    f'server.bind = "{LOOPBACK}"',
                    f"server.port = {port}",
                    f'server.errorlog = "{home}/error.log"',
                    f'server.upload-dirs = ("{home}/uploads")',
                    'mimetype.assign = (".txt" => "text/plain", ".json" => "application/json")',
                    'webdav.activate = "enable"',
                    'webdav.is-readonly = "disable"',
                    f'webdav.sqlite-db-name = "{home}/webdav.db"',
                    'dir-listing.activate = "enable"',
                    'dir-listing.hide-dotfiles = "disable"',
                ]
            )
        )
        return [binary, "-D", "-f", str(home / "server.conf")]

    with _running(folder, configure, tls=tls) as server:
        yield server


_LIGHTTPD_TLS = ', "mod_openssl"'
_LIGHTTPD_MODULES = [Path("/usr/lib/lighttpd"), Path("/usr/lib64/lighttpd"), Path("/usr/local/lib/lighttpd")]

_WSGIDAV = """
import resource, sys
from cheroot import wsgi
from cheroot.ssl.builtin import BuiltinSSLAdapter
from wsgidav.wsgidav_app import WsgiDAVApp
folder, host, port, largest = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
threads, certificate = int(sys.argv[5]), sys.argv[6]
users = {sys.argv[7]: {"password": sys.argv[8]}} if len(sys.argv) > 7 else True
if largest:
    resource.setrlimit(resource.RLIMIT_FSIZE, (largest, largest))
application = WsgiDAVApp({
    "provider_mapping": {"/": folder},
    "simple_dc": {"user_mapping": {"*": users}},
    "verbose": 0,
    "logging": {"enable_loggers": []},
    "property_manager": True,
    "lock_storage": True,
})
server = wsgi.Server((host, port), application, numthreads=threads, request_queue_size=512)
if certificate:
    server.ssl_adapter = BuiltinSSLAdapter(certificate, certificate)
server.start()
"""


@contextmanager
def wsgidav(
    folder: Path, *, tls: bool = False, largest: int = 0, threads: int = 24, login: tuple[str, ...] = ()
) -> Iterator[WebServer]:
    """WsgiDAV, which is installed with the tests, on cheroot. `largest` is how many bytes a file can have on
    its disk, as if that were full then; 0 for no such limit. It serves as many requests at once as it has
    `threads`. `login` is the user and password it wants.
    """

    def configure(home: Path, port: int) -> Sequence[str]:
        (home / "serve.py").write_text(_WSGIDAV)
        script = str(home / "serve.py")
        certificate = str(home / "server.pem") if tls else ""
        options = [str(folder), LOOPBACK, str(port), str(largest), str(threads), certificate, *login]
        return [sys.executable, "-W", "ignore", script, *options]

    with _running(folder, configure, tls=tls) as server:
        yield server


def _binary(name: str) -> str:
    found = shutil.which(name, path=_PATH)
    if found is None:
        pytest.skip(f"{name} is not installed: nothing is proven against it")
    return found


@contextmanager
def _running(
    folder: Path, configure: Callable[[Path, int], Sequence[str]], *, tls: bool
) -> Iterator[WebServer]:
    """The server's process from when it takes connections until it has ended."""
    with tempfile.TemporaryDirectory(prefix="headrace-server-") as name:
        home = Path(name)
        home.chmod(0o755)
        ca = _certificates(home) if tls else None
        port = _free_port()
        with (home / "output").open("wb") as output:
            process = subprocess.Popen(
                configure(home, port),
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                start_new_session=True,
            )
            try:
                _await_start(process, port, home)
                url = f"{'https' if tls else 'http'}://{LOOPBACK}:{port}"
                yield WebServer(url, port, folder, process.pid, ca)
            finally:
                _end(process)


def _certificates(home: Path) -> str:
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(home / "ca.pem"))
    authority.issue_cert(LOOPBACK).private_key_and_cert_chain_pem.write_to_path(str(home / "server.pem"))
    return str(home / "ca.pem")


def _free_port() -> int:
    with socket.socket() as listener:
        listener.bind((LOOPBACK, 0))
        port: int = listener.getsockname()[1]
        return port


def _await_start(process: subprocess.Popen[bytes], port: int, home: Path) -> None:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline:
        if process.poll() is not None:
            break
        with suppress(OSError), socket.create_connection((LOOPBACK, port), 1.0):
            return
        time.sleep(0.02)
    said = "".join(
        path.read_text(errors="replace") for path in (home / "output", home / "error.log") if path.exists()
    )
    raise RuntimeError(f"the server did not start: {said}")


def _end(process: subprocess.Popen[bytes]) -> None:
    """Ask, and then insist, with its whole session: some have children."""
    process.terminate()
    try:
        process.wait(STOP_SECONDS)
    except subprocess.TimeoutExpired:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(STOP_SECONDS)
