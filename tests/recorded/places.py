"""A place of each protocol, with a real server behind it and its folder on this disk.

http nginx, https Apache httpd, ftp pure-ftpd, ftps proftpd, dav WsgiDAV with a login, davs lighttpd, and a
folder; `cupboard` is an adapter that others brought, in memory.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from adapters.files import quoted
from tests.adapters.ftp_servers import SECRET, USER, FtpServer, ftp_server
from tests.adapters.web_servers import WebServer, apache, lighttpd, nginx, served_folder, wsgidav
from tests.recorded import third_party


@dataclass(frozen=True, slots=True)
class Place:
    """`base` is the URL of `folder`, which is None where the documents are in memory."""

    base: str
    folder: Path | None
    user: str = ""
    ca: str | None = None

    def within(self, name: str) -> "Place":
        """A new folder of it as a place of its own."""
        base = f"{self.base}{quoted(name.encode())}/"
        if self.folder is None:
            third_party.CONTENTS[base] = None
            return replace(self, base=base)
        path = self.folder / name
        path.mkdir()
        path.chmod(0o777)
        return replace(self, base=base, folder=path)

    def put(self, path: str, body: bytes) -> None:
        """A document is there, in a folder that is made where it is not."""
        *folders, name = path.split("/")
        if self.folder is None:
            for depth in range(len(folders)):
                third_party.CONTENTS["".join((self.base, *(f"{each}/" for each in folders[: depth + 1])))] = (
                    None
                )
            third_party.CONTENTS[self.base + path] = body
            return
        where = self.folder.joinpath(*folders)
        where.mkdir(parents=True, exist_ok=True)
        for depth in range(len(folders)):
            self.folder.joinpath(*folders[: depth + 1]).chmod(0o777)
        (where / name).write_bytes(body)
        (where / name).chmod(0o666)

    def named(self, name: str) -> str:
        """Its table in a catalogue. Where it has a login, the password is that of the FTP servers."""
        lines = [f"[place.{name}]", f'base = "{self.base}"', "write = true"]
        if self.base.startswith("http"):
            lines.append('index = "html"')
        if self.user:
            lines += [f'user = "{self.user}"', 'secret = "file:password"']
        if self.ca is not None:
            lines.append(f'ca = "{self.ca}"')
        return "\n".join(lines) + "\n"


PASSWORD: Final = SECRET


@contextmanager
def _web(
    start: Callable[[Path], AbstractContextManager[WebServer]], *, dav: bool, user: str = ""
) -> Iterator[Place]:
    with served_folder() as folder, start(folder) as server:
        yield Place(f"{server.dav_url if dav else server.url}/", folder, user, server.ca)


@contextmanager
def _ftp(kind: str, *, tls: bool) -> Iterator[Place]:
    with ftp_server(kind, tls=tls) as server:
        yield _ftp_place(server)


def _ftp_place(server: FtpServer) -> Place:
    return Place(server.target.url, server.folder, USER, server.target.ca)


@contextmanager
def folder() -> Iterator[Place]:
    """On this disk."""
    with TemporaryDirectory(prefix="headrace-place-") as name:
        yield Place(f"{Path(name).as_uri()}/", Path(name))


@contextmanager
def _cupboard() -> Iterator[Place]:
    with third_party.joined():
        yield Place(third_party.ROOT, None)


PLACES: Final[Mapping[str, Callable[[], AbstractContextManager[Place]]]] = {
    "http": lambda: _web(nginx, dav=False),
    "https": lambda: _web(lambda folder: apache(folder, tls=True), dav=False),
    "ftp": lambda: _ftp("pure-ftpd", tls=False),
    "ftps": lambda: _ftp("proftpd", tls=True),
    "dav": lambda: _web(lambda folder: wsgidav(folder, login=(USER, SECRET)), dav=True, user=USER),
    "davs": lambda: _web(lambda folder: lighttpd(folder, tls=True), dav=True),
    "file": folder,
    "cupboard": _cupboard,
}
"""Scheme -> its place, as long as the context."""
