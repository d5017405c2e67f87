"""A BASIC program with somebody at its keyboard: what is typed when, and what its screen has shown.

Under PC-BASIC the screen is its standard output, byte for byte, in which a line ends in CR LF.
"""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.environment import ENVIRONMENT

PATIENCE = 120  # seconds for anything that is waited for


class Keyboard:
    """A program that runs. What it waits for is typed only when it has asked."""

    def __init__(self, running: "subprocess.Popen[bytes]") -> None:
        self._running = running
        self._screen = bytearray()
        self._seen = 0
        self._news = threading.Condition()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self._running.stdout is not None
        while data := os.read(self._running.stdout.fileno(), 4096):
            with self._news:
                self._screen += data
                self._news.notify_all()

    def type(self, text: str) -> None:
        """Strike these keys; Enter is CR."""
        assert self._running.stdin is not None
        self._running.stdin.write(text.encode("ascii"))
        self._running.stdin.flush()

    def see(self, text: str) -> None:
        """Wait until the screen shows this, behind what was waited for before."""
        wanted, until = text.encode("ascii"), time.monotonic() + PATIENCE
        with self._news:
            while (found := self._screen.find(wanted, self._seen)) < 0:
                assert self._news.wait(until - time.monotonic()), (text, bytes(self._screen))
            self._seen = found + len(wanted)

    def end(self) -> str:
        """Wait until the program has ended by itself; all that its screen has shown."""
        assert self._running.wait(PATIENCE) == 0
        self._reader.join(PATIENCE)
        return self._screen.decode("ascii")


@contextmanager
def at_pcbasic(text: str, port: int, folder: Path) -> Iterator[Keyboard]:
    """The program under PC-BASIC, its COM1 a line to the port. Its keyboard stays open until it ends: a
    closed one would end it.
    """
    (folder / "CLIENT.BAS").write_bytes(text.replace("\n", "\r\n").encode("ascii") + b"\x1a")
    command = [sys.executable, "-m", "pcbasic", "--interface=none", "--sound=False"]
    command += ["--input=STDIN:RAW", "--output=STDOUT:RAW", f"--com1=SOCKET:127.0.0.1:{port}"]
    command += ["--quit", "--state=/dev/null", "--run=CLIENT.BAS"]
    kept = {"XDG_DATA_HOME": str(folder), "XDG_CONFIG_HOME": str(folder), "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command,
        cwd=folder,
        env={**ENVIRONMENT, **kept},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    ) as running:
        try:
            yield Keyboard(running)
        finally:
            running.kill()
