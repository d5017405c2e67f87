"""origin -> a turn: how many exchanges run at one time, in all and with one origin."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass

from adapters.port import Origin


@dataclass(slots=True)
class _Lane:
    turns: asyncio.Semaphore
    users: int = 0


class Gate:
    """Turns are given in the order of asking. Who waits for a slow origin holds up nobody else's."""

    def __init__(self, calls: int, per_origin: int) -> None:
        self._turns = asyncio.Semaphore(calls)
        self._per_origin = per_origin
        self._lanes: dict[Origin, _Lane] = {}

    @asynccontextmanager
    async def turn(self, origin: Origin) -> AsyncIterator[None]:
        """Wait for a turn and hold it. The origin's own comes first: waiting for it takes no shared one."""
        lane = self._lanes.setdefault(origin, _Lane(asyncio.Semaphore(self._per_origin)))
        lane.users += 1
        try:
            async with lane.turns, self._turns:
                yield
        finally:
            lane.users -= 1
            if lane.users == 0:  # origins come and go; only those in use are remembered
                del self._lanes[origin]
