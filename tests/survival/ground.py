"""Far servers that outlive the gateway, and a gateway that is killed and started again over its state folder.

`web` is WsgiDAV, `quay` pyftpdlib, `slow` the same through a proxy that lets data through slowly, so that
some transfers outlast `wait`, are answered 150 and go on; `shelf` is a folder of this computer.
"""

import asyncio
import json
import re
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Mapping
from contextlib import ExitStack, asynccontextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from tests.adapters.ftp_servers import USER, ftp_server
from tests.faults.proxy import FaultProxy
from tests.faults.script import Channel, Drip, Way
from tests.gateway.commands.processes import ENVIRONMENT, PATIENCE
from tests.recorded.places import PASSWORD, PLACES, Place

CONSTANT = 12  # documents that nobody changes, of each kind
_SLOW = 100_000  # bytes a second
_CATALOGUE = """
[gateway]
state = "state"
wait = 1
[[listen]]
port = 0
rights = "all"
[rights.all]
sources = ["*"]
places = ["*"]
write = ["*"]
requests = 100000000
[source.rows]
url = "web:{name}"
args = ["name"]
rows = "$.rows[*]"
keep = "1h"
[[source.rows.field]]
name = "N"
at = "$"
kind = "int"
width = 6
"""
_STARTED = """
import json, sys
from adapters import limits
for name, value in json.loads(sys.argv[1]).items():
    assert hasattr(limits, name)
    setattr(limits, name, value)
from gateway.commands.main import main
sys.exit(main(["serve", *sys.argv[2:]]))
"""
_BUSY_DISK = {"SPOOL_RESERVE_BYTES": 0, "DISK_RESERVE_BYTES": 0, "ACCOUNTS_SAVED_SECONDS": 0.02}
"""Accounts are written down all the time; where the tests run, the disk may be nearly full."""
_TROUBLE = re.compile(r"level=(?:error|critical)|Traceback|Exception ignored")


@dataclass(frozen=True, slots=True)
class Ground:
    """`home` has the catalogue and the state folder. `straight` is the catalogue without the slow proxy."""

    home: Path
    places: dict[str, Place]
    straight: str

    def far(self, ref: str) -> bytes | None:
        """What is at the far server under `place:name`."""
        place, _, name = ref.partition(":")
        path = self._folder(place) / name
        return path.read_bytes() if path.exists() else None

    def names(self, place: str) -> set[str]:
        """Whatever is there."""
        return {each.name for each in self._folder(place).iterdir()}

    def _folder(self, place: str) -> Path:
        folder = self.places[place.lower()].folder
        assert folder is not None
        return folder


@asynccontextmanager
async def ground(home: Path) -> AsyncIterator[Ground]:
    """With documents that nobody changes: `dN.json` and `tN.txt` at the web server, `tN.txt` elsewhere."""
    with ExitStack() as stack:
        web, shelf = (stack.enter_context(PLACES[scheme]()) for scheme in ("dav", "file"))
        server = stack.enter_context(ftp_server("pyftpdlib"))
        quay = Place(server.target.url, server.folder, USER)
        for number in range(CONSTANT):
            rows = ", ".join(str(number * each) for each in range(number * 30))
            web.put(f"d{number}.json", f'{{"rows": [{rows}]}}'.encode())
            for place in (web, quay, shelf):
                place.put(f"t{number}.txt", f"Line of text {number}\n".encode() * (1 + number**4))
        async with FaultProxy(server.port, [Drip(_SLOW, Way.UP, Channel.DATA)], ftp=True) as proxy:
            slow = replace(quay, base=quay.base.replace(f":{server.port}/", f":{proxy.port}/"))
            places = {"web": web, "quay": quay, "shelf": shelf, "slow": slow}
            (home / "password").write_text(PASSWORD)
            (home / "password").chmod(0o600)
            text = _CATALOGUE + "".join(place.named(name) for name, place in places.items())
            (home / "headrace.toml").write_text(text)
            yield Ground(home, places, text.replace(slow.base, quay.base))


class Gateway:
    """One process of `headrace serve`, with other limits. `said` is a file for its standard error."""

    def __init__(
        self,
        home: Path,
        *arguments: str,
        said: Path | None = None,
        limits: Mapping[str, float] = _BUSY_DISK,
    ) -> None:
        self._said = said or home / "said"
        command = [sys.executable, "-c", _STARTED, json.dumps(limits), *arguments]
        with self._said.open("wb") as output:
            self._process = subprocess.Popen(command, cwd=home, env=ENVIRONMENT, stderr=output)
        self.pid = self._process.pid

    async def port(self) -> int:
        """Once it listens."""
        async with asyncio.timeout(2 * PATIENCE):
            while True:
                found = re.search(r"listening on 127\.0\.0\.1:(\d+)", self.said())
                if found is not None:
                    return int(found[1])
                assert self._process.poll() is None, self.said()
                await asyncio.sleep(0.01)

    def said(self) -> str:
        """On standard error so far."""
        return self._said.read_text()

    def trouble(self) -> list[str]:
        """Lines of it that complain of something."""
        return [line for line in self.said().splitlines() if _TROUBLE.search(line)]

    def kill(self) -> None:
        """SIGKILL (signal(7)); harmless a second time."""
        self._process.kill()
        self._process.wait()

    async def end(self) -> int:
        """SIGTERM; the exit code."""
        self._process.send_signal(signal.SIGTERM)
        return await asyncio.to_thread(self._process.wait, PATIENCE)
