"""Where attacks are tried: a gateway, far servers that are hostile, and what must not be reached.

A `Ground` has the same shape whether its gateway runs in the test's process, with names of the test's own,
or is a process of `headrace serve`. All of it is on loopback; what is not is refused by the event loop.
"""

import re
import subprocess
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AsyncExitStack, ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

from adapters.addresses import canonical_host
from adapters.errors import CannotConnect
from gateway.testing.background import Background
from gateway.testing.gateways import Gateways
from gateway.testing.upstream.requests import Request
from gateway.testing.upstream.server import Upstream, Upstreams
from tests.adapters.ftp.scripted import SECRET, Scripted, scripted
from tests.adapters.ftp_servers import free_ports
from tests.attacks.catalogue import catalogue
from tests.attacks.line import AttackLine
from tests.attacks.raw import RawFar
from tests.gateway.commands.processes import ENVIRONMENT, HEADRACE, PATIENCE

PUBLIC = "11.22.33.44"
"""An address that is public by the registries. Nothing is ever sent to it: the test's event loop refuses."""


class Names:
    """A look-up that the test writes, and that counts. A list of lists: one answer after the other."""

    def __init__(self) -> None:
        self.answers: dict[str, list[list[str]]] = {}
        self.asked: list[str] = []

    def say(self, host: str, *answers: Sequence[str]) -> None:
        """The answers for a host, in turn, the last one for all further look-ups."""
        self.answers[canonical_host(host)] = [list(each) for each in answers]

    async def __call__(self, host: str, port: int) -> list[str]:
        self.asked.append(host)
        found = self.answers.get(canonical_host(host))
        if found is None:
            raise CannotConnect("No such host")
        return found.pop(0) if len(found) > 1 else found[0]


@dataclass
class Ground:
    """`far` is a server that the catalogue names, `secure` one with TLS, `other` one that it does not name:
    nobody may get there. `raw` answers with any bytes, `loud` says them unasked; `ftp` refuses EPSV, and in
    PASV names another address; `fresh` knows EPSV and no MLSD; `hear` is a reserved port.

    `disk` is the folder of the place DISK, `outside` the one beside it. `refused` are the addresses that the
    gateway tried and that are not this machine. `alone`: rows that run side by side take turns.
    """

    host: str
    port: int
    far: Upstream
    secure: Upstream
    other: Upstream
    raw: RawFar
    loud: RawFar
    hear: int
    ftp: Scripted
    fresh: Scripted
    disk: Path
    outside: Path
    log_lines: list[str]
    refused: Sequence[str]
    names: Names = field(default_factory=Names)
    in_process: bool = True
    log_file: Path | None = None
    alone: threading.Lock = field(default_factory=threading.Lock)

    @contextmanager
    def line(self) -> Iterator[AttackLine]:
        """A client's line."""
        made = AttackLine(self.host, self.port)
        try:
            yield made
        finally:
            made.close()

    def ask(self, *requests: str) -> str:
        """The replies to requests, in words, on a line of their own."""
        with self.line() as line:
            return "; ".join(line.ask(each) for each in requests)

    def placed(self, text: str) -> str:
        """With `FAR`, `OTHER` and `RAW` as the origins of those servers."""
        for word, url in (("FAR", self.far.url), ("OTHER", self.other.url), ("RAW", self.raw.url)):
            text = text.replace(word, url)
        return text

    def got(self, path: str) -> list[Request]:
        """What the far server got whose target begins so."""
        return [each for each in self.far.requests if each.target.startswith(path)]

    def log(self) -> list[str]:
        """What the gateway has logged."""
        if self.log_file is not None:
            return self.log_file.read_text(encoding="utf-8", errors="surrogateescape").split("\n")[:-1]
        return list(self.log_lines)


@dataclass
class _Far:
    far: Upstream
    secure: Upstream
    other: Upstream
    raw: RawFar
    loud: RawFar
    hear: int
    ftp: Scripted
    fresh: Scripted
    disk: Path
    outside: Path

    def text(self, wait: float) -> str:
        """The catalogue that names them."""
        assert self.secure.ca is not None
        return catalogue(
            far=self.far.url,
            secure=self.secure.url,
            ca=str(self.secure.ca),
            raw=self.raw.port,
            ftp=self.ftp.port,
            fresh=self.fresh.port,
            loud=self.loud.port,
            hear=self.hear,
            disk=self.disk.as_uri(),
            state=str(self.outside / "state"),
            wait=wait,
        )


@contextmanager
def _far_servers(folder: Path) -> Iterator[_Far]:
    """All that is hostile. `outside` holds a document that no reply may show."""
    with ExitStack() as stack:
        outside, disk = folder / "outside", folder / "disk"
        outside.mkdir()
        disk.mkdir()
        (outside / "secret.txt").write_text("the secret\n")
        (folder / "disk-of-others").mkdir()
        (folder / "disk-of-others" / "secret.txt").write_text("the secret\n")
        (folder / "secret").write_text(SECRET + "\n")
        (folder / "secret").chmod(0o600)

        def scratch() -> Path:
            made = folder / "certificates"
            made.mkdir(exist_ok=True)
            return made

        upstreams = Upstreams(scratch)
        stack.callback(upstreams.close)
        far, secure, other = upstreams(), upstreams("good"), upstreams()
        loop = Background("attacks-far")
        stack.callback(loop.stop)
        servers = AsyncExitStack()
        stack.callback(lambda: loop.run(servers.aclose(), PATIENCE))
        ftp = loop.run(servers.enter_async_context(scripted(epsv="500 no", address="10,0,0,1")), PATIENCE)
        fresh = loop.run(servers.enter_async_context(scripted(features=(), at_stop="")), PATIENCE)
        raw, loud = RawFar(), RawFar()
        stack.callback(raw.close)
        stack.callback(loud.close)
        far.on("/small.json").json({"v": "small"})
        other.on("/secret.txt").text("the secret")
        yield _Far(far, secure, other, raw, loud, free_ports(1).start, ftp, fresh, disk, outside)


@contextmanager
def in_process(folder: Path, *, wait: float) -> Iterator[Ground]:
    """With a gateway on a thread of the test's process, whose names are the test's."""
    folder.mkdir()
    with _far_servers(folder) as far:
        known = Names()
        known.say("localhost", ["127.0.0.1"])

        def names(hosts: Mapping[str, str | Sequence[str]]) -> Names:
            return known

        count = 0

        def scratch() -> Path:
            nonlocal count
            count += 1
            made = folder / f"state-{count}"
            made.mkdir()
            return made

        gateways = Gateways(folder, scratch)
        try:
            with patch("gateway.testing.gateways.names", names):
                running = gateways(far.text(wait), wait=wait, log="debug", hosts={})
            ground = Ground(
                host=running.host,
                port=running.port,
                log_lines=running._log.lines,
                refused=running.refused,
                names=known,
                **vars(far),
            )
            yield ground
        finally:
            gateways.close()


@contextmanager
def served(folder: Path, *, wait: float) -> Iterator[Ground]:
    """With a process of `headrace serve`. Its names are the system's: only loopback may be named to it."""
    folder.mkdir()
    with _far_servers(folder) as far:
        (folder / "headrace.toml").write_text(far.text(wait), encoding="utf-8")
        log = folder / "log"
        with log.open("wb") as errors:
            process = subprocess.Popen(
                [*HEADRACE, "serve", "--log", "debug", "--port", "0"],
                cwd=folder,
                env=ENVIRONMENT,
                stderr=errors,
            )
        try:
            host, port = _listening(log, process)
            yield Ground(
                host=host, port=port, log_lines=[], refused=(), in_process=False, log_file=log, **vars(far)
            )
        finally:
            process.terminate()
            code = process.wait(PATIENCE)
        assert code == 0, log.read_text()[-2000:]


def _listening(log: Path, process: "subprocess.Popen[bytes]") -> tuple[str, int]:
    """Where it listens, once it says so."""
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline and process.poll() is None:
        found = re.search(r"listening on ([0-9.]+):([0-9]+)", log.read_text(encoding="utf-8"))
        if found is not None:
            return found[1], int(found[2])
        time.sleep(0.02)
    raise AssertionError(log.read_text(encoding="utf-8"))
