"""`headrace` as a process of its own, as its users run it."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

HEADRACE = (sys.executable, "-m", "gateway.commands.main")
ROOT = Path(__file__).parents[3]
PATIENCE = 60  # seconds
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100", "PYTHONWARNINGS": "error"}


def headrace(
    *arguments: str, folder: Path, given: bytes = b"", **environment: str
) -> subprocess.CompletedProcess[bytes]:
    """Run it to its end in `folder`; `given` is its standard input."""
    return subprocess.run(
        [*HEADRACE, *arguments],
        cwd=folder,
        env={**ENVIRONMENT, **environment},
        input=given,
        capture_output=True,
        timeout=PATIENCE,
        check=False,
    )


class Serving:
    """A running `headrace serve`, with what it said on standard error so far."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.process = process
        self.said: list[str] = []

    def wait_for(self, pattern: str) -> re.Match[str]:
        """Read standard error until a line matches."""
        assert self.process.stderr is not None
        while line := self.process.stderr.readline().decode():
            self.said.append(line)
            if found := re.search(pattern, line):
                return found
        raise AssertionError("".join(self.said))

    def end(self, number: int = signal.SIGTERM) -> int:
        """End it by a signal; its exit code."""
        self.process.send_signal(number)
        _, errors = self.process.communicate(timeout=PATIENCE)
        self.said.append(errors.decode())
        return self.process.returncode


def until(true: Callable[[], bool]) -> None:
    """Wait for that to be so."""
    ends = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < ends
        time.sleep(0.02)


@contextmanager
def serving(*arguments: str, folder: Path, **environment: str) -> Iterator[Serving]:
    """`headrace serve` in `folder`; killed at the end if it still runs."""
    process = subprocess.Popen(
        [*HEADRACE, "serve", *arguments],
        cwd=folder,
        env={**ENVIRONMENT, **environment},
        stderr=subprocess.PIPE,
    )
    watchdog = threading.Timer(3 * PATIENCE, process.kill)
    watchdog.start()
    try:
        yield Serving(process)
    finally:
        watchdog.cancel()
        if process.poll() is None:
            process.kill()
        process.communicate()
