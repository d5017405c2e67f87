"""who wants a turn, and at which far server -> so many at one time, and so many at one server; others wait.

One far server that hangs can take a share of all turns (1 / limits.SERVERS_AT_ONCE): the rest is for who asks
others.
"""

import asyncio
from collections import Counter
from collections.abc import Callable

from adapters import limits
from adapters.errors import GatewayFull


class Shares:
    """Turns of one kind. `most` at one time, and `queue` who may wait, are asked anew each time; `full`
    is what is told to whoever gets none.
    """

    def __init__(self, most: Callable[[], int], queue: Callable[[], int], full: str) -> None:
        self._most, self._queue, self._full = most, queue, full
        self._busy: Counter[str] = Counter()  # by far server
        self._waiting: list[tuple[str, asyncio.Future[None]]] = []
        self.count = 0  # of all that are taken

    @property
    def waiting(self) -> int:
        """How many wait for one."""
        return len(self._waiting)

    async def take(self, server: str, ends: float) -> None:
        """A turn at that far server; empty: at none. GatewayFull: too many wait already, or none came until
        `ends`, on the loop's clock.
        """
        if self._has_room(server):
            self._enter(server)
        else:
            await self._wait(server, ends)

    def give_back(self, server: str) -> None:
        """That turn is over."""
        self.count -= 1
        self._busy[server] -= 1
        if not self._busy[server]:
            del self._busy[server]
        most, share = self._limits()
        for each in list(self._waiting):
            if self.count >= most:
                return
            waits, turn = each
            if not turn.done() and (
                not waits or self._busy[waits] < share
            ):  # who has given up leaves by itself
                self._waiting.remove(each)
                self._enter(waits)
                turn.set_result(None)

    async def _wait(self, server: str, ends: float) -> None:
        if len(self._waiting) >= self._queue():
            raise GatewayFull(self._full)
        mine = server, asyncio.get_running_loop().create_future()
        self._waiting.append(mine)
        try:
            async with asyncio.timeout_at(ends):
                await mine[1]
        except (TimeoutError, asyncio.CancelledError) as error:
            if mine in self._waiting:
                self._waiting.remove(mine)
            else:
                self.give_back(server)  # its turn has just come
            if isinstance(error, TimeoutError):
                raise GatewayFull(self._full) from error
            raise

    def _has_room(self, server: str) -> bool:
        most, share = self._limits()
        return self.count < most and (not server or self._busy[server] < share)

    def _limits(self) -> tuple[int, int]:
        """Of all, and of those at one server."""
        most = self._most()
        return most, max(1, most // limits.SERVERS_AT_ONCE)

    def _enter(self, server: str) -> None:
        self._busy[server] += 1
        self.count += 1
