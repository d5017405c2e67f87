"""A gateway's listening sockets -> another process that goes on with them, and what the two tell each other.

The one that follows says READY when it listens, or nothing, and then nothing has changed. From then on the
one before lets nobody else in and ends with its last client; which reserved ports it needs no more (FREE),
and what its clients have had of their shares (USED), it tells meanwhile. STOP asks it to end at once.
"""

import asyncio
import json
import os
import shutil
import socket
import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from adapters import limits
from gateway.service.running.inheriting import HANDED, Spot, told

READY: Final = "ready"
STOP: Final = "stop"
FREE: Final = "free"
USED: Final = "used"


class Tether:
    """One end of what joins the two: a line of JSON is one message."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self._writer = reader, writer

    def say(self, word: str, value: object = None) -> None:
        """Tell the other one, if it is still there."""
        if not self._writer.is_closing():
            self._writer.write(json.dumps([word, value]).encode() + b"\n")

    async def heard(self) -> tuple[str, Any] | None:
        """What the other one says next; None when it is gone."""
        try:
            word, value = json.loads(await self._reader.readline())
        except (OSError, ValueError):
            return None
        return word, value

    async def gone(self, seconds: float) -> None:
        """Wait until the other one is, for so long."""
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while await self.heard() is not None:
                    pass

    async def aclose(self) -> None:
        """Say what is still to be said, and let go."""
        self._writer.close()
        with suppress(OSError):
            await self._writer.wait_closed()


async def tether(line: socket.socket) -> Tether:
    """That end, for the running loop."""
    made = await asyncio.open_unix_connection(sock=line, limit=limits.TETHER_BYTES)
    return Tether(*made)


def command() -> list[str]:
    """How this program was started, as it is installed now.

    A script is found anew, so that one that leads to another version by now is that version.
    """
    script = shutil.which(sys.argv[0])
    if script is not None and not script.endswith(".py"):
        return [str(Path(script).absolute()), *sys.argv[1:]]
    return [sys.executable, *sys.orig_argv[1:]]


def follow(
    words: Sequence[str], spots: Mapping[Spot, Iterable[int]], variables: Mapping[str, str]
) -> tuple[int, socket.socket]:
    """Start the one that follows; its process number, and our end of the tether. OSError where it cannot be.

    It is no child that anything waits for: when this process ends, it goes on.
    """
    ours, theirs = socket.socketpair()
    descriptors = [each for some in spots.values() for each in some]
    lent = [os.dup(each) for each in (*descriptors, theirs.fileno())]
    try:
        for each in lent:
            os.set_inheritable(each, True)
        copies = iter(lent)
        copied = {spot: [next(copies) for _ in some] for spot, some in spots.items()}
        environment = {**os.environ, **variables, HANDED: told(copied, lent[-1])}
        process = os.posix_spawn(words[0], list(words), environment)
    except OSError:
        ours.close()
        raise
    finally:
        theirs.close()
        for each in lent:
            os.close(each)
    return process, ours


def reap(process: int) -> None:
    """Do not leave it as a zombie where it has ended."""
    with suppress(ChildProcessError):
        os.waitpid(process, os.WNOHANG)
