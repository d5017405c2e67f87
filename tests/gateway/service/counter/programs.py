"""An old terminal program at a counter: a socket, the real programs of lrzsz on it, and gateways to try."""

import random
import select
import socket
import subprocess
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from gateway.testing.gateways import Gateway
from tests.environment import ENVIRONMENT

PATIENCE = 15.0  # seconds
TRANSFER_SECONDS = 60.0


def catalogue(base: str, *more: str, write: bool = True, profile: str = "") -> str:
    """A request listener, then one that speaks modem, and the place `club`."""
    return f"""[[listen]]
port = 1
profile = "own"
[[listen]]
port = 2
speaks = "modem"
profile = "own"
[profile.own]
echo = true
{profile}
[place.club]
base = "{base}"
write = {str(write).lower()}
{chr(10).join(more)}
[phone.5550100]
dial = "club"
"""


class Terminal:
    """What types and shows. It reads no byte ahead, so that a program can take over at any time."""

    def __init__(self, gateway: Gateway, *, modem: bool) -> None:
        bound = gateway.bound[1 if modem else 0]
        self.modem = modem
        self.line = socket.create_connection((bound.host, bound.port), PATIENCE)
        self.line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        self.line.close()

    def call(self, name: str = "club") -> bytes:
        """Call the place's counter; all that it says up to its first prompt."""
        if self.modem:
            self.type(f"ATDT{name}\r")
            self.wait_for(b"CONNECT 9600\r\n")
        else:
            self.type(f"TALK {name}:\r")
            self.wait_for(b"200 00000 000 ..\r\n")
        return self.wait_for(b"> ")

    def type(self, text: str | bytes) -> None:
        self.line.sendall(text.encode() if isinstance(text, str) else text)

    def wait_for(self, wanted: bytes, seconds: float = PATIENCE) -> bytes:
        """All up to what is wanted, that included."""
        heard, until = b"", time.monotonic() + seconds
        while not heard.endswith(wanted):
            self.line.settimeout(max(0.01, until - time.monotonic()))
            try:
                byte = self.line.recv(1)
            except TimeoutError as error:
                raise AssertionError(f"{wanted!r} did not come: {heard[-500:]!r}") from error
            assert byte, f"the gateway hung up: {heard[-500:]!r}"
            heard += byte
        return heard

    def ask(self, line: str) -> list[str]:
        """A command, and the lines that answer it, its echo left out."""
        self.type(line + "\r")
        self.wait_for(line.encode() + b"\r\n")
        return self.answer()

    def answer(self) -> list[str]:
        """The lines up to the next prompt."""
        return self.wait_for(b"> ").decode("latin-1").removesuffix("> ").split("\r\n")[:-1]

    def quiet(self, seconds: float) -> bool:
        """Whether nothing comes for so long."""
        return not select.select([self.line], [], [], seconds)[0]

    def starts(self, line: str) -> None:
        """A command that begins a transfer, up to the moment at which the program may start."""
        self.type(line + "\r")
        self.wait_for(b"twice gives up.\r\n")

    def transfer(self, line: str, program: Sequence[str], folder: Path) -> list[str]:
        """A command, the program that does its part, and what is told behind it."""
        self.starts(line)
        assert self.run(program, folder) == 0, (line, program)
        return self.answer()

    def run(self, program: Sequence[str], folder: Path) -> int:
        """A program of lrzsz on this line, to its end: its exit code."""
        self.line.settimeout(None)  # the descriptor blocks, as a terminal's does
        with self.started(program, folder) as running:
            try:
                return running.wait(TRANSFER_SECONDS)
            except subprocess.TimeoutExpired:
                running.kill()
                raise

    def started(self, program: Sequence[str], folder: Path) -> "subprocess.Popen[bytes]":
        self.line.settimeout(None)
        end = self.line.fileno()
        return subprocess.Popen(
            program,
            cwd=folder,
            stdin=end,
            stdout=end,
            stderr=subprocess.DEVNULL,
            env={**ENVIRONMENT, "LC_ALL": "C"},
        )


Job = Callable[[Terminal, Path], None]
SIZES = (1, 127, 128, 129, 1_024, 300_000)
SUB = b"\x1a"


def body(size: int) -> bytes:
    """Every byte, flow control, CAN, IAC and `+++` among them; seeded, so that a failure comes again."""
    return (random.Random(size).randbytes(size) + b"+++")[-size:]


TEXT = "".join(f"Line {number} of the minutes, +++ and all.\r\n" for number in range(200)).encode()


def bodies() -> dict[str, bytes]:
    return {f"{size}.bin": body(size) for size in SIZES} | {"minutes.txt": TEXT}


def at_once(gateway: Gateway, mine: Path, modem: bool, jobs: Sequence[Job]) -> None:
    """Each job in a call, and in a folder, of its own: most of a transfer's time is waiting."""

    def run(number: int) -> None:
        folder = mine / f"job{number}"
        folder.mkdir()
        with Terminal(gateway, modem=modem) as terminal:
            terminal.call()
            jobs[number](terminal, folder)

    with ThreadPoolExecutor(len(jobs)) as pool:
        list(pool.map(run, range(len(jobs))))


def counted(data: bytes) -> str:
    return "1 byte" if len(data) == 1 else f"{len(data)} bytes"
