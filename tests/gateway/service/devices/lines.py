"""Pseudo terminals that stand for serial devices, and a protocol that notes what it is told."""

import asyncio
import os
import termios
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest


class Machine:
    """What is at the other end of a device at `link`: a pseudo terminal's master.

    What a Linux pty cannot do (measured): keep CS7 and PARENB, tell of queued bytes (TIOCOUTQ is 0) and of
    modem lines (ENOTTY).
    """

    def __init__(self, link: Path) -> None:
        self.link = link
        self.plug()

    def plug(self) -> None:
        """A new pseudo terminal at the same place, as an adapter that is plugged in again."""
        self.master, slave = os.openpty()
        os.set_blocking(self.master, False)
        found: list[Any] = termios.tcgetattr(slave)
        found[3] = 0  # no echo of what is said before anybody has opened it
        termios.tcsetattr(slave, termios.TCSANOW, found)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)
        self.plugged = True

    def unplug(self) -> None:
        """Both ends are gone, and the place with them."""
        if self.plugged:
            self.plugged = False
            self.link.unlink()
            os.close(self.master)

    def say(self, data: bytes) -> None:
        """Send; the bytes must fit."""
        assert os.write(self.master, data) == len(data)

    def take(self) -> bytes:
        """What has come."""
        parts = []
        with suppress(BlockingIOError, OSError):
            while True:
                parts.append(os.read(self.master, 65_536))
        return b"".join(parts)

    def got(self, count: int) -> bytes:
        """So many bytes; the system brings them over in its own time."""
        return read(self.master, count)

    async def hear(self, count: int, seconds: float = 5.0) -> bytes:
        """So many bytes."""
        data = b""
        async with asyncio.timeout(seconds):
            while len(data) < count:
                data += self.take()
                await asyncio.sleep(0.002)
        return data


def read(descriptor: int, count: int) -> bytes:
    """So many bytes of a non-blocking descriptor."""
    data, until = b"", time.monotonic() + 5
    while len(data) < count:
        assert time.monotonic() < until, f"only {data!r} came"
        with suppress(BlockingIOError):
            data += os.read(descriptor, count - len(data))
    return data


class Noting(asyncio.Protocol):
    """Notes it all."""

    def __init__(self) -> None:
        self.transport: asyncio.Transport | None = None
        self.data = bytearray()
        self.told: list[str] = []
        self.error: Exception | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self.told.append("made")

    def data_received(self, data: bytes) -> None:
        self.data += data

    def pause_writing(self) -> None:
        self.told.append("pause")

    def resume_writing(self) -> None:
        self.told.append("resume")

    def connection_lost(self, exc: Exception | None) -> None:
        self.error = exc
        self.told.append("lost")


async def until(true: Callable[[], object], seconds: float = 5.0) -> None:
    """Wait for what must come about."""
    with suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            while not true():  # noqa: ASYNC110 it may be anything
                await asyncio.sleep(0.002)
    if not true():
        pytest.fail("it did not come about")
