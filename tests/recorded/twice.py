"""A conversation with a real gateway, twice: live while it is recorded, and from the recording alone.

    catalogue's file, requests -> replies, byte for byte as they go to a client

The time stands still, so that TIME, ages and WHY are the same. While a recording is played every connect and
every look-up of a name fails the test.
"""

import asyncio
import socket
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, NoReturn

import pytest

from gateway.commands import sites, wiring
from gateway.commands.say import converse
from gateway.service.clocks import Clock
from gateway.service.logs import Redactor
from gateway.service.sites import Mode
from gateway.wire.replies import Lines

MOMENT: Final = datetime(2026, 5, 17, 12, 0, tzinfo=UTC)
CLOCK: Final = Clock(MOMENT)


@contextmanager
def no_network() -> Iterator[None]:
    """Whatever would ask a network fails meanwhile."""

    def refuse(*_: object, **__: object) -> NoReturn:
        raise AssertionError("the network was asked")

    with pytest.MonkeyPatch.context() as patch:
        for owner, names in (
            (socket.socket, ("connect", "connect_ex", "sendto")),
            (socket, ("getaddrinfo", "gethostbyname", "create_connection")),
            (asyncio.BaseEventLoop, ("create_connection", "sock_connect", "getaddrinfo")),
        ):
            for name in names:
                patch.setattr(owner, name, refuse)
        yield


@dataclass(frozen=True, slots=True)
class Twice:
    """`catalogue` is its file; `site` the folder of recordings."""

    catalogue: Path
    site: Path
    clock: Clock = CLOCK

    async def live(self, *requests: str) -> list[bytes]:
        """Each reply, recorded."""
        return await self._said(Mode.RECORD, requests)

    async def played(self, *requests: str) -> list[bytes]:
        """Each reply, from the recording, which is read anew."""
        with no_network():
            return await self._said(Mode.PLAY, requests)

    async def _said(self, mode: Mode, requests: Iterable[str]) -> list[bytes]:
        catalogue = wiring.read_catalogue(self.catalogue, offline=mode is Mode.PLAY)
        redactor = Redactor()
        wiring.learn_secrets(redactor, catalogue)
        site = replace(sites.open_site(self.site, mode, catalogue, redactor), clock=self.clock)
        parts = wiring.Parts(catalogue, site=site)
        said: list[bytes] = []

        def put(_: str, lines: Lines) -> None:
            said.append(b"".join(lines))

        try:
            await converse(catalogue, parts.answers(lambda: catalogue), requests, put, parts.clock)
        finally:
            await parts.aclose()
        return said


def code(reply: bytes) -> int:
    """Of its status line; 0 for a later part of a windowed reply."""
    return int(reply[:3]) if reply[:3].isdigit() else 0


def codes(said: Sequence[bytes]) -> set[int]:
    """Every code that came."""
    return {code(each) for each in said}
