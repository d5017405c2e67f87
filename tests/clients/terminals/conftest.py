"""A gateway with a modem at a port and one at a serial device, and the text service behind it."""

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.clients.conftest import ROOT
from tests.clients.terminals.club import club, telnet_club
from tests.clients.terminals.screen import program
from tests.gateway.service.callers.callers import free_port
from tests.gateway.service.streams.far_ends import far_end

_WAIT = 10.0  # seconds for a device to be there, and for a gateway to end


@contextmanager
def _joined(*ends: str) -> Iterator[None]:
    """socat between two ends; a PTY of them is there before this goes on."""
    links = [Path(end.partition("link=")[2].partition(",")[0]) for end in ends if "link=" in end]
    with subprocess.Popen([program("socat"), *ends]) as running:
        try:
            until = time.monotonic() + _WAIT
            while not all(each.exists() for each in links):
                assert time.monotonic() < until
                time.sleep(0.02)
            yield
        finally:
            running.terminate()


@dataclass
class House:
    """`commands`: telnet's, as the club heard them."""

    folder: Path
    club: int  # its port
    reserved: int  # the port at which callers ring
    commands: list[bytes]

    def told(self, words: str) -> int:
        """How often the gateway's log has these words."""
        return (self.folder / "log").read_text().count(words)

    @property
    def port(self) -> int:
        """The gateway's own."""
        found = re.search(r"listening on 127\.0\.0\.1:(\d+)", (self.folder / "log").read_text())
        assert found
        return int(found[1])

    @property
    def modem(self) -> Path:
        """What a program opens as its modem."""
        return self.folder / "modem"

    @property
    def home(self) -> Path:
        """A program's own folder."""
        return self.folder / "home"

    @contextmanager
    def at_the_port(self) -> Iterator[None]:
        """The modem is a pseudo terminal in front of the gateway's port."""
        with _joined(f"PTY,link={self.modem},raw,echo=0", f"TCP:127.0.0.1:{self.port}"):
            yield

    @contextmanager
    def at_the_device(self) -> Iterator[None]:
        """The modem is a cable, whose other end the gateway has opened itself."""
        with _joined(f"PTY,link={self.modem},raw,echo=0", f"PTY,link={self.folder}/wire,raw,echo=0"):
            yield


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("terminals")
    (folder / "shelf").mkdir()
    commands: list[bytes] = []
    with ExitStack() as running:
        bare = running.enter_context(far_end(club))
        telnet = running.enter_context(far_end(telnet_club(commands)))
        reserved = free_port()
        (folder / "headrace.toml").write_text(f"""
[gateway]
urls = ["127.0.0.1", "192.0.2.1"]
[[listen]]
port = 0
speaks = "modem"
rings = {reserved}
[[listen]]
device = "{folder}/wire"
speaks = "modem"
rings = {reserved}
[hear.{reserved}]
banner = "The hide"
[place.club]
base = "tcp://127.0.0.1:{bare}"
[place.nest]
base = "telnet://127.0.0.1:{telnet}"
[place.shelf]
base = "{(folder / "shelf").as_uri()}/"
write = true
[phone.5550100]
dial = "club"
[phone.5550101]
dial = "nest"
""")
        log = running.enter_context((folder / "log").open("w"))
        command = [sys.executable, "-m", "gateway.commands.main", "serve", "--log", "info"]
        command += ["--config", str(folder / "headrace.toml")]
        served = running.enter_context(subprocess.Popen(command, cwd=ROOT, stderr=log))
        running.callback(served.wait, _WAIT)
        running.callback(served.terminate)
        made = House(folder, bare, reserved, commands)
        made.home.mkdir()
        until = time.monotonic() + _WAIT
        while made.told("listening on") < 2:
            assert time.monotonic() < until
            time.sleep(0.05)
        yield made
