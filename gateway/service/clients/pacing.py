"""schedules -> bytes that leave in time: one tick for all clients that are sent to at a pace.

There is no timer for a byte or a client, and none at all while nothing is due. The tick comes when the
next byte of anybody is due, but not more often than leaves the loop to everybody else: with few clients a
machine without a buffer is served byte by byte, with a thousand each gets a few bytes at a time. A byte is
never early; how late it may come is how long the tick took to come round.
"""

import asyncio
import heapq
import time
from itertools import count
from typing import Final, Protocol

from adapters import limits

_LOOKS: Final = 16  # over which lateness is averaged
_SPARE: Final = 64  # entries that may wait for their time although they do not count any more


class Metered(Protocol):
    """One client's way out, at a pace."""

    def pump(self, now: float, grain: float) -> float | None:
        """Send what was due at `now`, when the tick began; when to look again, or None. It never raises.

        `grain`: the seconds of which bytes may leave together, since looks have come so late lately.
        """
        ...


class Pacing:
    """The tick. Times are the loop's."""

    def __init__(self) -> None:
        self._queue: list[tuple[float, int, Metered]] = []
        self._current: dict[Metered, int] = {}  # the one entry of each that counts
        self._numbers = count()
        self._timer: asyncio.TimerHandle | None = None
        self._timer_at = 0.0
        self._began_at = 0.0  # of the tick that is going on or was the last
        self._pause_until = 0.0  # before which there is none
        self.grain = 0.0  # seconds: how late bytes came before this tick, whose lateness is not excused
        self._late = limits.TICK_SECONDS  # averages of the last looks, of what each was late
        self._late_squared = limits.TICK_SECONDS**2
        self._spent = 0.0  # in the tick that is going on
        self._unfinished = False

    @property
    def paced(self) -> int:
        """How many clients something is kept back from."""
        return len(self._current)

    def look(self, metered: Metered, at: float) -> None:
        """Look at this client at `at`, and no longer when it was to be."""
        self._enter(metered, at)
        self._arm()

    def forget(self, metered: Metered) -> None:
        """Nothing is kept back from this client any more."""
        self._current.pop(metered, None)
        if not self._current and self._timer is not None:
            self._timer.cancel()
            self._timer, self._unfinished = None, False
            self._queue.clear()

    def _enter(self, metered: Metered, at: float) -> None:
        number = next(self._numbers)
        self._current[metered] = number
        if len(self._queue) >= 2 * len(self._current) + _SPARE:
            self._queue[:] = [each for each in self._queue if self._current.get(each[2]) == each[1]]
            heapq.heapify(self._queue)
        heapq.heappush(self._queue, (at, number, metered))

    def _arm(self) -> None:
        """Set the one timer for the earliest look, if it is not set for as early."""
        queue = self._queue
        while queue and self._current.get(queue[0][2]) != queue[0][1]:
            heapq.heappop(queue)
        if self._unfinished or not queue:
            return
        at = max(queue[0][0], self._pause_until)
        if self._timer is not None:
            if self._timer_at <= at:
                return
            self._timer.cancel()
        self._timer_at = at
        self._timer = asyncio.get_running_loop().call_at(at, self._tick)

    def _tick(self) -> None:
        """Look at all whose time has come; where that takes long, the others have their turn in between."""
        loop = asyncio.get_running_loop()
        self._timer = None
        if not self._unfinished:
            now = loop.time()
            self._note_lateness(now - self._queue[0][0] if self._queue else 0.0)
            self._began_at, self._spent = now, 0.0
        began, self._unfinished = time.perf_counter(), False
        queue, current = self._queue, self._current
        while queue and queue[0][0] <= self._began_at:
            _, number, metered = heapq.heappop(queue)
            if current.get(metered) != number:
                continue
            again = metered.pump(self._began_at, self.grain)
            if again is not None:
                self._enter(metered, max(again, self._began_at + limits.TICK_SECONDS))
            elif current.get(metered) == number:
                del current[metered]
            if time.perf_counter() - began >= limits.TICK_TURN_SECONDS:
                self._unfinished = True
                break
        self._spent += time.perf_counter() - began
        if self._unfinished:
            self._timer = loop.call_at(0.0, self._tick)
            return
        pause = self._spent / limits.TICK_SHARE
        self._pause_until = self._began_at + min(max(pause, limits.TICK_SECONDS), limits.TICK_MOST_SECONDS)
        self._arm()

    def _note_lateness(self, late: float) -> None:
        """Average how late bytes came over time, not over looks: a few long waits hold more of it than many
        short ones. The loop's own timer counts whole milliseconds.
        """
        self.grain = self._late_squared / self._late * 1.25 + limits.TICK_SECONDS
        late = min(max(late, limits.TICK_SECONDS), limits.TICK_LATE_SECONDS)
        self._late += (late - self._late) / _LOOKS
        self._late_squared += (late * late - self._late_squared) / _LOOKS
