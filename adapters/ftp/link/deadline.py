"""seconds -> a Deadline: the end of an operation, however slowly it moves, and of each step of it."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass

from adapters import limits
from adapters.errors import TooSlow


@dataclass(frozen=True, slots=True)
class Deadline:
    """`at` is on the loop's clock. Whatever waits does so inside `step`."""

    at: float

    @classmethod
    def after(cls, seconds: float) -> "Deadline":
        """That many seconds from now. TooSlow where there is no time at all."""
        if seconds <= 0:
            raise TooSlow
        return cls(asyncio.get_running_loop().time() + seconds)

    def left(self) -> float:
        """Seconds; negative when time is up."""
        return self.at - asyncio.get_running_loop().time()

    def within(self, seconds: float) -> "Deadline":
        """The same, or that many seconds from now if that is sooner."""
        return Deadline(min(self.at, asyncio.get_running_loop().time() + seconds))

    @asynccontextmanager
    async def step(self, patience: float = limits.STALL_SECONDS) -> AsyncIterator[None]:
        """TooSlow at the deadline, or after `patience` seconds in here. Only this timer's end counts: a
        TimeoutError that something inside raises goes through.
        """
        left = self.left()
        if left <= 0:
            raise TooSlow
        timer = asyncio.timeout(min(left, patience))
        try:
            async with timer:
                yield
        except TimeoutError as error:
            if timer.expired():
                raise TooSlow from error
            raise
