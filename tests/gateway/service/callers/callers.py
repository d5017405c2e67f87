"""Who calls in: a socket to a reserved port."""

import random
import socket
import time

from gateway.testing.clients.line import Line, NothingCame
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage

PATIENCE = 8.0  # seconds
BUSY = b"Nobody can take the call now; please call again later\r\n"


def free_port() -> int:
    """A port that nobody has, below those that a system takes for calls out (RFC 6335 section 6)."""
    for _ in range(100):
        port = random.SystemRandom().randrange(20_000, 32_000)
        with socket.socket() as tried:
            try:
                tried.bind(("127.0.0.1", port))
            except OSError:
                continue
        return port
    raise AssertionError("no free port")


class Reserved:
    """A gateway with a reserved port, which has `keys`; `more` is the rest of its catalogue."""

    def __init__(self, stage: Stage, keys: str = "", more: str = "") -> None:
        self.port = free_port()
        self.stage = stage
        text = more.replace("PORT", str(self.port)) + f"\n[hear.{self.port}]\n{keys}\n"
        self.gateway: Gateway = stage.gateways(text, log="info")
        self._callers: list[Caller] = []

    def call(self) -> "Caller":
        self._callers.append(Caller(self.port))
        return self._callers[-1]

    def close(self) -> None:
        """Hang up all that has called."""
        for each in self._callers:
            each.hang_up()


class Caller:
    """One call."""

    def __init__(self, port: int) -> None:
        self.line = Line("127.0.0.1", port, PATIENCE)

    def say(self, data: bytes) -> None:
        self.line.send(data, PATIENCE)

    def hears(self, data: bytes) -> None:
        """Exactly that comes next."""
        assert self.line.take(len(data), time.monotonic() + PATIENCE) == data

    def hears_to_the_end(self, data: bytes) -> None:
        """Exactly that comes, and then the end."""
        self.hears(data)
        self.ends()

    def ends(self) -> None:
        """The line is hung up, and nothing more comes."""
        try:
            more = self.line.take(1, time.monotonic() + PATIENCE)
        except NothingCame as nothing:
            assert nothing.hung_up
        else:
            raise AssertionError(more)

    def hang_up(self) -> None:
        self.line.close()
