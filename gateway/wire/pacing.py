"""pace and gap -> when bytes may leave: one client's schedule (CONTRACT section 5), its clock the caller's.

Byte n of a run may leave n character times after the first, by absolute times, so that nothing drifts. A
caller that comes late finds more than one byte due, but never more than its own grain of time holds: what
it was late beyond that is made up for by sending an eighth closer together until the schedule is met again.
Who was idle, or read too slowly, is owed nothing. A gap is counted from when the line's last byte really
left, and so is never shortened.
"""

import sys
from fractions import Fraction
from typing import Final

from adapters import limits

EVERYTHING: Final = sys.maxsize
"""What is due where no pace is set: the whole line, however long."""

CLOSER: Final = Fraction(7, 8)
"""Of a character's time, between the bytes of who makes up for being late."""


class Schedule:
    """When each byte for one client may leave. Times are seconds of any one clock that does not go back.

    `pace` in characters a second, 0 for as fast as the link; `gap` in milliseconds after each line. Ask
    `due` how many bytes may leave by now, send as many of one line at most, and tell by `sent`.
    """

    def __init__(self, pace: int, gap: int, now: float) -> None:
        self._pace = pace
        self._character = 1 / pace if pace else 0.0
        self._closest = self._character * float(CLOSER)
        self._gap = gap / 1000
        self._planned = now  # for the next byte, had none ever been late
        self._earliest = now  # for the next byte, after the ones that were

    @property
    def next_at(self) -> float:
        """When the next byte may leave."""
        return max(self._planned, self._earliest)

    def resume(self, now: float) -> None:
        """There was nothing to send, or nobody who read it: what could have been sent is not made up for."""
        self._planned = max(self._planned, self._earliest, now)

    def due(self, now: float, grain: float = 0.0) -> int:
        """How many bytes of the line in hand may leave at `now`; none before `next_at`.

        `grain`: the seconds between the caller's looks, whose bytes may leave together.
        """
        if now < self._planned or now < self._earliest:
            return 0
        if not self._pace:
            return EVERYTHING
        self._planned = max(self._planned, now - limits.PACE_LATE_SECONDS)
        self._earliest = max(self._earliest, now - grain)
        by_plan = int((now - self._planned) * self._pace)
        return 1 + min(by_plan, int((now - self._earliest) / self._closest))

    def sent(self, count: int, now: float, ends: bool = False) -> None:
        """`count` bytes have left at `now`, as many as were due at most; `ends`: the line ends with them.

        `now` may be later than the time by which they were due.
        """
        self._planned += count * self._character
        self._earliest += count * self._closest
        self._earliest = max(self._earliest, self._planned - self._character + self._closest)
        if ends and self._gap:
            self._planned += self._gap
            self._earliest = max(self._earliest, now + self._character + self._gap)
