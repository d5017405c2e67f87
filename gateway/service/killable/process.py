"""A process that lays documents out, seen from outside (`Process`) and from inside (`main`).

It is given nothing of the gateway's: no environment, no descriptors but its own three, no more memory than
limits.WORK_MEMORY_BYTES, and no core dump that could hold a document.
"""

import contextlib
import os
import subprocess
import sys
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError
from gateway.extract.effort import Effort, with_effort
from gateway.extract.pipeline import extract
from gateway.extract.plan import Sheet
from gateway.service.killable.parcels import (
    Task,
    answer_of,
    answer_of_fault,
    framed,
    packed,
    read_frame,
    sheet_of,
    unpacked,
)
from gateway.service.running.descriptors import resource

_START: Final = (
    "import sys; sys.path[:] = {path!r}; from gateway.service.killable.process import main; main({memory})"
)
_MOST: Final = limits.EXPANDED_BYTES + (64 << 20)  # a document and its plan, or a sheet of it
_KEPT: Final = ("PATH", "LANG", "LC_ALL", "SYSTEMROOT", "TZDIR")
"""Of the environment: what a Python needs to start. Secrets may stand in the rest."""


class Process:
    """One such process: `begin`, then `ask`. Both block; whoever is tired of that kills the process from
    another thread.
    """

    def __init__(self) -> None:
        environment = {name: os.environ[name] for name in _KEPT if name in os.environ}
        self._process = subprocess.Popen(  # noqa: S603 (this very program)
            [sys.executable, "-I", "-c", _START.format(path=sys.path, memory=limits.WORK_MEMORY_BYTES)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            close_fds=True,
            start_new_session=True,  # a Ctrl-C at a terminal is for the gateway
        )
        self.killed = False

    @property
    def number(self) -> int:
        """The process's id."""
        return self._process.pid

    def begin(self) -> None:
        """Wait until it has started, which is not a document's time. ValueError: it has ended."""
        stdout = self._process.stdout
        assert stdout is not None
        if read_frame(stdout, 0) is None:
            raise ValueError("ended")

    def ask(self, task: Task) -> Sheet:
        """The sheet. HeadraceError: why there is none; OSError or ValueError: the process has ended."""
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None
        assert stdout is not None
        stdin.write(packed(task))
        stdin.flush()
        answer = read_frame(stdout, _MOST)
        if answer is None:
            raise ValueError("ended")
        return sheet_of(answer)

    def kill(self) -> None:
        """End it at once."""
        self.killed = True
        self._process.kill()

    def close(self) -> None:
        """End it, and wait for that."""
        self.kill()
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None
        assert stdout is not None
        for each in (stdin, stdout):
            with contextlib.suppress(OSError):
                each.close()
        self._process.wait()


def main(memory: int) -> None:
    """Lay out what comes on standard input, until its end, with so many bytes of memory at most."""
    _confine(memory)
    source, target = sys.stdin.buffer, sys.stdout.buffer
    target.write(framed(b""))
    target.flush()
    while (data := read_frame(source, _MOST)) is not None:
        target.write(_laid_out(unpacked(data)))
        target.flush()


def _laid_out(task: Task) -> bytes:
    try:
        sheet = with_effort(
            Effort(), lambda: extract(task.body, task.media_type, task.charset, task.plan, task.style)
        )
    except HeadraceError as fault:
        return answer_of_fault(fault)
    return answer_of(sheet)


def _confine(memory: int) -> None:
    if resource is None:
        return
    for limit, most in ((resource.RLIMIT_AS, memory), (resource.RLIMIT_CORE, 0)):
        _, hard = resource.getrlimit(limit)
        least = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(limit, (least, hard))
