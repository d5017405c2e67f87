"""Real FTP servers on loopback, each a process of its own with a folder on this disk, plain or inside TLS.

pyftpdlib comes with the tests' packages. vsftpd, proftpd and pure-ftpd are looked for on PATH and under
`.servers` in the repository, where the check script unpacks them; a test whose server is missing is skipped
loudly. Servers that drop their rights need to be started by root.
"""

import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
import trustme

from adapters.files import Target
from adapters.port import CredentialKind, Credentials, Reach

ROOT = Path(__file__).parents[2]
UNPACKED = ROOT / ".servers"
LOOPBACK = "127.0.0.1"

USER, SECRET = "reader", "quiet-water"
CRYPTED = (  # openssl passwd -6 -salt headrace quiet-water
    "$6$headrace$45duMu6jq1.MjDiqClxrMt9I1xcKpFwOp8mXUmEFSbQlLUYGd3ef9K6j0Pb8MTV2XDNQcwkwEyf5VwCBBh4D.1"
)
NOBODY = 65_534

SERVERS = ("pyftpdlib", "vsftpd", "proftpd", "pure-ftpd")


@dataclass(frozen=True)
class FtpServer:
    """A server that runs. `folder` is on this disk what `target` is over FTP: empty and writable."""

    kind: str
    port: int
    folder: Path
    target: Target
    private: tuple[str, ...]
    process: "subprocess.Popen[bytes]"

    @property
    def tls(self) -> bool:
        return self.target.url.startswith("ftps:")

    def within(self, folder: str) -> "FtpServer":
        """The same with a folder of its own, so that one process serves many tests."""
        path = self.folder / folder
        path.mkdir()
        path.chmod(0o777)
        root = f"{self.target.root}{folder}/"
        return replace(self, folder=path, target=replace(self.target, url=root, root=root))


@dataclass(frozen=True)
class _Place:
    """What a configuration is written from."""

    base: Path  # configuration, certificate, logs
    home: Path  # what a login sees as its root
    port: int
    passive: range
    certificate: Path | None  # chain and key; None for a plain server


def binary(name: str) -> str | None:
    """A server's path, or None."""
    path = os.pathsep.join(
        [os.environ.get("PATH", ""), "/usr/sbin", f"{UNPACKED}/usr/sbin", f"{UNPACKED}/usr/bin"]
    )
    return shutil.which(name, path=path)


def free_ports(count: int) -> range:
    """Ports in a row that nobody listens on now, below those that systems give out by themselves."""
    for _ in range(200):
        start = random.randrange(12_000, 32_000)
        ports = range(start, start + count)
        if all(_free(port) for port in ports):
            return ports
    raise AssertionError("no free ports in a row")


def _free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # what was closed just now is free
        try:
            probe.bind((LOOPBACK, port))
        except OSError:
            return False
    return True


_PYFTPDLIB = """
import sys
from pyftpdlib.ioloop import AsyncChat as async_chat
from pyftpdlib.authorizers import DummyAuthorizer
from pyftpdlib.handlers import FTPHandler, TLS_FTPHandler
from pyftpdlib.servers import FTPServer
host, port, first, last, home, user, secret, certificate = sys.argv[1:]
users = DummyAuthorizer()
users.add_user(user, secret, home, perm="elradfmwMT")
class Handler(TLS_FTPHandler if certificate else FTPHandler):
    def push(self, line):  # its own takes no names but UTF-8 into a reply
        async_chat.push(self, line.encode("utf8", "surrogateescape"))
handler = Handler
handler.authorizer = users
handler.unicode_errors = "surrogateescape"  # names are bytes
handler.auth_failed_timeout = 0.1
handler.passive_ports = range(int(first), int(last) + 1)
if certificate:
    handler.certfile = certificate
    handler.tls_control_required = handler.tls_data_required = True
server = FTPServer((host, int(port)), handler)
server.serve_forever(handle_exit=False)
"""


def _pyftpdlib(place: _Place) -> list[str]:
    passive = [str(place.passive.start), str(place.passive.stop - 1)]
    rest = [str(place.home), USER, SECRET, str(place.certificate or "")]
    return [sys.executable, "-W", "ignore", "-c", _PYFTPDLIB, LOOPBACK, str(place.port), *passive, *rest]


def _vsftpd(place: _Place) -> list[str]:
    """Anonymous with every right: a local user would need an entry in the system's PAM."""
    lines = [
        "listen=YES", "background=NO", f"listen_address={LOOPBACK}", f"listen_port={place.port}",
        "anonymous_enable=YES", "local_enable=NO", "no_anon_password=NO", f"anon_root={place.home}",
        "write_enable=YES", "anon_upload_enable=YES", "anon_mkdir_write_enable=YES",
        "anon_other_write_enable=YES", "anon_world_readable_only=NO", "anon_umask=022",
        f"pasv_min_port={place.passive.start}", f"pasv_max_port={place.passive.stop - 1}",
        "seccomp_sandbox=NO", f"secure_chroot_dir={place.base / 'empty'}", "xferlog_enable=NO",
        "delay_failed_login=0", "max_per_ip=0", "connect_from_port_20=NO",
    ]  # fmt: skip
    if place.certificate is not None:
        lines += [
            "ssl_enable=YES", "allow_anon_ssl=YES", "force_anon_data_ssl=YES", "force_anon_logins_ssl=YES",
            "require_ssl_reuse=YES", "ssl_ciphers=HIGH", f"rsa_cert_file={place.certificate}",
            f"rsa_private_key_file={place.certificate}",
        ]  # fmt: skip
    (place.base / "empty").mkdir()
    file = place.base / "vsftpd.conf"
    file.write_text("\n".join(lines) + "\n")
    return [binary("vsftpd") or "", str(file)]


def _proftpd(place: _Place) -> list[str]:
    users = place.base / "users"
    users.write_text(f"{USER}:{CRYPTED}:{NOBODY}:{NOBODY}:invented:{place.home}:/bin/sh\n")
    users.chmod(0o600)
    modules = UNPACKED / "usr/lib/proftpd"
    lines = [
        f"ModulePath {modules if modules.is_dir() else '/usr/lib/proftpd'}",
        "LoadModule mod_tls.c", "LoadModule mod_digest.c",
        'ServerName "invented"', "ServerType standalone", "DefaultServer on", "UseIPv6 off",
        f"DefaultAddress {LOOPBACK}", "SocketBindTight on", f"Port {place.port}",
        f"PidFile {place.base / 'pid'}", "ScoreboardFile none", "WtmpLog off",
        f"SystemLog {place.base / 'log'}", "TransferLog none",
        "User nobody", "Group nogroup", "Umask 022", "AuthOrder mod_auth_file.c", f"AuthUserFile {users}",
        "RequireValidShell off", "AuthPAM off", "DefaultRoot ~", "AllowOverwrite on",
        "AllowStoreRestart on", "UseReverseDNS off", "IdentLookups off", "TimesGMT on",
        f"PassivePorts {place.passive.start} {place.passive.stop - 1}", "MaxInstances 60",
        "<IfModule mod_delay.c>", "DelayEngine off", "</IfModule>",
        "<IfModule mod_ident.c>", "IdentLookups off", "</IfModule>",
        "<IfModule mod_digest.c>", "DigestEngine on", "DigestAlgorithms sha256 sha1 md5", "</IfModule>",
    ]  # fmt: skip
    lines.remove("IdentLookups off")
    if place.certificate is not None:
        lines += [
            "TLSEngine on", "TLSRequired on", f"TLSRSACertificateFile {place.certificate}",
            f"TLSRSACertificateKeyFile {place.certificate}", "TLSProtocol TLSv1.2 TLSv1.3",
            f"TLSLog {place.base / 'tls-log'}",
        ]  # fmt: skip
    file = place.base / "proftpd.conf"
    file.write_text("\n".join(lines) + "\n")
    return [binary("proftpd") or "", "-n", "-q", "-c", str(file)]


def _pure_ftpd(place: _Place) -> list[str]:
    users = place.base / "users"
    users.write_text(f"{USER}:{CRYPTED}:{NOBODY}:{NOBODY}::{place.home}/./::::::::::::\n")
    subprocess.run([binary("pure-pw") or "", "mkdb", str(place.base / "db"), "-f", str(users)], check=True)
    command = [
        binary("pure-ftpd") or "", "-S", f"{LOOPBACK},{place.port}", "-l", f"puredb:{place.base / 'db'}",
        "-p", f"{place.passive.start}:{place.passive.stop - 1}", "-A", "-E", "-H", "-u", "1", "-z", "-D",
        "-c", "60", "-C", "60", "-g", str(place.base / "pid"), "-U", "022:022",
    ]  # fmt: skip
    if place.certificate is not None:
        command += ["-Y", "2", "-2", str(place.certificate)]
    return command


_COMMANDS: dict[str, Callable[[_Place], list[str]]] = {
    "pyftpdlib": _pyftpdlib,
    "vsftpd": _vsftpd,
    "proftpd": _proftpd,
    "pure-ftpd": _pure_ftpd,
}


@contextmanager
def ftp_server(kind: str, *, tls: bool = False) -> Iterator[FtpServer]:
    """A running server of that kind, ended by its process id. Skips where its program is missing."""
    if kind != "pyftpdlib":
        if binary(kind) is None:
            pytest.skip(f"{kind} is not installed: nothing of it was tested")
        if os.geteuid() != 0:
            pytest.skip(f"{kind} has to be started by root: nothing of it was tested")
    base = Path(tempfile.mkdtemp(prefix="headrace-ftp-"))
    base.chmod(0o755)
    try:
        home = base / "home"
        folder = home / "pub"
        folder.mkdir(parents=True)
        folder.chmod(0o777)
        ports = free_ports(41)
        ca, certificate = _certificate(base) if tls else (None, None)
        place = _Place(base, home, ports[0], ports[1:], certificate)
        with (base / "errors").open("wb") as errors:
            process = subprocess.Popen(
                # Some close every descriptor they could have at each login: a million take half a second.
                ["sh", "-c", 'ulimit -n 1024; exec "$@"', "sh", *_COMMANDS[kind](place)],
                cwd=ROOT,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=errors,
                start_new_session=True,
            )
        try:
            _await_greeting(process, place.port, base / "errors")
            yield _server(kind, place, folder, ca, process)
        finally:
            _end(process)
    finally:
        shutil.rmtree(base, ignore_errors=True)


def _server(
    kind: str, place: _Place, folder: Path, ca: Path | None, process: "subprocess.Popen[bytes]"
) -> FtpServer:
    url = f"{'ftps' if ca else 'ftp'}://{LOOPBACK}:{place.port}/pub/"
    anonymous = kind == "vsftpd"
    target = Target(
        url,
        url,
        None if anonymous else Credentials(CredentialKind.BASIC, USER, SECRET),
        str(ca) if ca else None,
        Reach(named=frozenset({(LOOPBACK, place.port)})),
    )
    return FtpServer(kind, place.port, folder, target, (str(place.base), USER, SECRET), process)


def _certificate(base: Path) -> tuple[Path, Path]:
    """A throw-away authority's file, and a chain with its key for loopback."""
    authority = trustme.CA()
    issued = authority.issue_cert(LOOPBACK, "localhost")
    ca, chain = base / "ca.pem", base / "chain.pem"
    authority.cert_pem.write_to_path(str(ca))
    issued.private_key_and_cert_chain_pem.write_to_path(str(chain))
    chain.chmod(0o600)
    return ca, chain


def _await_greeting(process: subprocess.Popen[bytes], port: int, errors: Path) -> None:
    end = time.monotonic() + 20
    while time.monotonic() < end:
        if process.poll() is not None:
            break
        with suppress(OSError), socket.create_connection((LOOPBACK, port), 5) as probe:
            if probe.recv(3) == b"220":
                return
        time.sleep(0.02)
    raise AssertionError(f"no greeting; the server says: {errors.read_text(errors='replace')}")


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the server and the processes that it started, which are in a session of their own."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, 15)
    try:
        process.wait(5)
    except subprocess.TimeoutExpired:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, 9)
        process.wait(5)
