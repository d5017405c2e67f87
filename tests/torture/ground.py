"""Where calls are made to fail: far servers on loopback that do not fail, and the catalogue that names them.

The far servers run in this process, the gateway in another (`host`), so that what fails is the gateway's.
All documents are invented.
"""

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from string import Template
from typing import Final

from argon2 import PasswordHasher

from demo_site.areas.dav import DavArea
from demo_site.areas.ftp import FtpArea
from gateway.catalogue.access import Member
from gateway.commands.membership import write_file
from gateway.testing.upstream.server import Upstreams
from tests.gateway.service.streams.far_ends import board, far_end

WAIT: Final = 4
"""Seconds within which each request is answered."""
SECRET: Final = "invented"
_MEMBER: Final = "KEEPER"
HASHER: Final = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""Cheap, since nobody is to be kept out here."""
_WHEN: Final = 1_767_225_600  # 2026-01-01, of every document there is at the beginning
_DOCUMENTS: Final[Mapping[str, bytes]] = {
    "notice.txt": b"The mill is shut on Mondays.\nBring your own sacks.\n",
    "log.txt": b"first\n",
    "old.txt": b"to be renamed\n",
    "more/inner.txt": b"inside\n",
}
_TIDES: Final = {
    "events": [{"when": f"2026-03-0{day}T05:12:00Z", "high": 4.5 + day / 10} for day in range(1, 6)]
}
_RATES: Final = "<rates>" + "".join(f"<rate name='r{n}'>{n}.25</rate>" for n in range(4)) + "</rates>"
_LARGE: Final = {"rows": [{"n": n, "text": f"row number {n} of an invented list"} for n in range(500)]}
_PAGE: Final = "<html><body><h1>Shelf</h1><p>A page with <a href='notice.txt'>a link</a>.</p></body></html>"

_CATALOGUE: Final = Template("""
[gateway]
state = "state"
members = "members.toml"
wait = $wait

[[listen]]
host = "127.0.0.1"
port = 0
rights = "all"

[rights.all]
write = ["*"]
streams = ["*"]

[place.quay]
base = "$ftp"
user = "watchman"
secret = "file:secret"
write = true

[place.ledger]
base = "$dav"
user = "watchman"
secret = "file:secret"
write = true

[place.shelf]
base = "$shelf"
write = true

[place.web]
base = "$http/"

[place.board]
base = "tcp://127.0.0.1:$board"

[place.phone]
base = "telnet://127.0.0.1:$board"

[source.tides]
url = "$http/tides.json"
rows = "$$.events[*]"
keep = "1h"
[[source.tides.field]]
name = "WHEN"
at = "$$.when"
kind = "time"
width = 5
[[source.tides.field]]
name = "HIGH"
at = "$$.high"
kind = "fixed"
width = 6

[source.fresh]
url = "$http/fresh.json"
rows = "$$.events[*]"
keep = "0s"
field = [{ name = "WHEN", at = "$$.when", kind = "time", width = 5 }]

[source.rates]
url = "$https/rates.xml"
ca = "ca.pem"
rows = "/rates/rate"
field = [{ name = "NAME", at = "@name", width = 4 }, { name = "RATE", at = ".", kind = "fixed", width = 6 }]

[source.large]
url = "$http/large.json"
rows = "$$.rows[*]"
keep = "0s"
field = [{ name = "N", at = "$$.n", kind = "int", width = 5 }, { name = "TEXT", at = "$$.text", width = 24 }]

[source.post]
url = "$http/post"
args = ["word"]
method = "POST"
body = { word = "{word}" }
field = [{ name = "GOT", at = "$$.got", width = 10 }]
""")


@dataclass(frozen=True, slots=True)
class Ground:
    """`folders` are the places that can be written, by name; `config` is the catalogue's file."""

    config: Path
    state: Path
    folders: Mapping[str, Path]

    def renew(self) -> None:
        """As it was at the beginning: documents in their places, nothing in the state folder."""
        shutil.rmtree(self.state, ignore_errors=True)
        self.renew_places()

    def renew_places(self) -> None:
        """Documents in their places."""
        for folder in self.folders.values():
            for each in folder.iterdir():
                shutil.rmtree(each) if each.is_dir() else each.unlink()
            for name, text in _DOCUMENTS.items():
                path = folder / name
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(text)
                os.utime(path, (_WHEN, _WHEN))
            os.utime(folder / "more", (_WHEN, _WHEN))

    def documents(self) -> dict[str, bytes | None]:
        """All that lies in the places now; None for a folder."""
        return {
            f"{place}:{path.relative_to(folder).as_posix()}": None if path.is_dir() else path.read_bytes()
            for place, folder in self.folders.items()
            for path in folder.rglob("*")
        }


@contextmanager
def ground(folder: Path) -> Iterator[Ground]:
    """Until the end of the context."""
    with ExitStack() as stack:
        folders = {name: folder / name for name in ("quay", "ledger", "shelf")}
        for each in folders.values():
            each.mkdir()
        upstreams = Upstreams(lambda: folder)
        stack.callback(upstreams.close)
        plain, secure = upstreams(), upstreams("good")
        for name in ("/tides.json", "/fresh.json"):
            plain.on(name).json(_TIDES)
        plain.on("/large.json").json(_LARGE)
        plain.on("/post").json({"got": "it"})
        plain.on("/page.html").text(_PAGE, "text/html; charset=utf-8")
        plain.on("/moved").redirect("/page.html")
        secure.on("/rates.xml").text(_RATES, "application/xml")
        ftp = stack.enter_context(FtpArea(folders["quay"], "watchman", SECRET))
        dav = stack.enter_context(DavArea(folders["ledger"], "watchman", SECRET))
        (folder / "secret").write_text(SECRET, encoding="utf-8")
        (folder / "secret").chmod(0o600)
        config = folder / "headrace.toml"
        text = _CATALOGUE.substitute(
            wait=WAIT,
            ftp=ftp.url,
            dav=dav.url,
            shelf=folders["shelf"].as_uri() + "/",
            http=plain.url,
            https=secure.url,
            board=stack.enter_context(far_end(board)),
        )
        config.write_text(text, encoding="utf-8")
        write_file(folder / "members.toml", {_MEMBER: Member(_MEMBER, "ALL", HASHER.hash(SECRET))})
        yield Ground(config, folder / "state", folders)
