"""Where calls are made to fail: far servers on loopback that do not fail, and the catalogue that names them.

The far servers run in this process, the gateway in another (`host`), so that what fails is the gateway's.
All documents are invented.
"""

import os
import shutil
import socket
import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from string import Template
from typing import Final

from argon2 import PasswordHasher

from demo_site.areas.dav import DavArea
from demo_site.areas.ftp import FtpArea
from gateway.catalogue.access import Member
from gateway.commands.membership import write_file
from gateway.testing.upstream.server import Upstreams
from tests.adapters.ftp_servers import SECRET as FTPS_SECRET
from tests.adapters.ftp_servers import USER as FTPS_USER
from tests.adapters.ftp_servers import ftp_server
from tests.adapters.web_servers import served_folder, wsgidav
from tests.gateway.service.callers.callers import free_port
from tests.gateway.service.devices.lines import Machine
from tests.gateway.service.streams.far_ends import board, far_end

WAIT: Final = int(os.environ.get("HEADRACE_TORTURE_WAIT", "4"))
"""Seconds within which each request is answered: more, where a machine has much else to do."""
SECRET: Final = "invented"
BANNER: Final = "The mill"
"""What whoever calls in sees first."""
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
$line
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

[place.dock]
base = "$ftps"
ca = "$ftps_ca"
user = "$ftps_user"
secret = "file:ftps-secret"
write = true

[place.vault]
base = "$davs"
ca = "$davs_ca"
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

[place.buoy]
base = "udp://127.0.0.1:$buoy"

[hear.$hear]
banner = "$banner"
waiting = "${waiting}s"

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
    """`folders` are the places that can be written, by name. `config` is the catalogue's file, `at_machine`
    that of the same one whose only client is a machine at a serial line. `hear` is the reserved port.
    """

    config: Path
    at_machine: Path
    state: Path
    folders: Mapping[str, Path]
    hear: int
    machine: Machine

    def renew(self) -> None:
        """As it was at the beginning: documents in their places, nothing in the state folder, a line that
        nobody has ever had open.
        """
        shutil.rmtree(self.state, ignore_errors=True)
        self.machine.unplug()
        self.machine.plug()
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
def buoy() -> Iterator[int]:
    """The port of a far end that sends each message back (RFC 862), until the end of the context."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as own:
        own.bind(("127.0.0.1", 0))
        port: int = own.getsockname()[1]

        def serve() -> None:
            while (got := own.recvfrom(65_536))[1] != ended:
                own.sendto(*got)

        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as ending:
            ending.bind(("127.0.0.1", 0))
            ended = ending.getsockname()
            thread = threading.Thread(target=serve, daemon=True)
            thread.start()
            try:
                yield port
            finally:
                ending.sendto(b"", ("127.0.0.1", port))
                thread.join()


@contextmanager
def ground(folder: Path) -> Iterator[Ground]:
    """Until the end of the context."""
    with ExitStack() as stack:
        ftps = stack.enter_context(ftp_server("pyftpdlib", tls=True))
        davs = stack.enter_context(
            wsgidav(stack.enter_context(served_folder()), tls=True, login=("watchman", SECRET))
        )
        folders = {name: folder / name for name in ("quay", "ledger", "shelf")}
        for each in folders.values():
            each.mkdir()
        folders |= {"dock": ftps.folder, "vault": davs.folder}
        machine, hear = Machine(folder / "wire"), free_port()
        stack.callback(machine.unplug)
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
        for name, secret in (("secret", SECRET), ("ftps-secret", FTPS_SECRET)):
            (folder / name).write_text(secret, encoding="utf-8")
            (folder / name).chmod(0o600)
        filled = partial(
            _CATALOGUE.substitute,
            wait=WAIT,
            ftp=ftp.url,
            dav=dav.url,
            shelf=folders["shelf"].as_uri() + "/",
            http=plain.url,
            https=secure.url,
            board=stack.enter_context(far_end(board)),
            buoy=stack.enter_context(buoy()),
            hear=hear,
            banner=BANNER,
            waiting=WAIT,
            ftps=ftps.target.url,
            ftps_ca=ftps.target.ca,
            ftps_user=FTPS_USER,
            davs=f"{davs.dav_url}/",
            davs_ca=davs.ca,
        )
        config, at_machine = folder / "headrace.toml", folder / "machine.toml"
        config.write_text(filled(line='host = "127.0.0.1"\nport = 0'), encoding="utf-8")
        at_machine.write_text(filled(line=f'device = "{machine.link}"\nspeed = 115200'), encoding="utf-8")
        write_file(folder / "members.toml", {_MEMBER: Member(_MEMBER, "ALL", HASHER.hash(SECRET))})
        yield Ground(config, at_machine, folder / "state", folders, hear, machine)
