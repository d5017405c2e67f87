"""Work of threads that hampers them all side by side -> one after the other, as long as each is quick."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from adapters.errors import TooSlow


class OneByOne:
    """Each system call lets the interpreter's lock go and takes it again, and of several threads that make
    thousands none gets on, nor does anybody else: eight listings of a thousand names at one time made a
    thousand clients wait thirty times as long as one after the other. Whoever waits here needs no thread.

    A disk that hangs must hold up no others: after `patience` seconds of one work the next begins beside it.
    """

    def __init__(self, patience: float) -> None:
        self._patience = patience
        self._turn: object | None = None
        self._since = 0.0
        self._change = asyncio.Event()  # another one each time, for those who have waited longest come first

    @asynccontextmanager
    async def turn(self, seconds: float) -> AsyncIterator[None]:
        """Wait for the turn, and have it. TooSlow: it does not come within `seconds`."""
        loop, mine = asyncio.get_running_loop(), object()
        ends = loop.time() + seconds
        while self._turn is not None and loop.time() < self._since + self._patience:
            if loop.time() >= ends:
                raise TooSlow
            with suppress(TimeoutError):
                async with asyncio.timeout_at(min(ends, self._since + self._patience)):
                    await self._change.wait()
        self._turn, self._since = mine, loop.time()
        try:
            yield
        finally:
            if self._turn is mine:  # else it took too long, and the turn is another's
                self._turn = None
                self._change.set()
                self._change = asyncio.Event()
