"""time taken -> others served: a client's share of the loop."""

import asyncio
import time

from adapters import limits


class Turn:
    """A client's share of the loop: `over` lets the others in when it has lasted long enough."""

    def __init__(self) -> None:
        self._began = time.perf_counter()

    async def over(self) -> None:
        """Give way if it is time."""
        if time.perf_counter() - self._began >= limits.TURN_SECONDS:
            await asyncio.sleep(0)
            self._began = time.perf_counter()
