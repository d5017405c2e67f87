"""The site's only memory: the club's high scores and its guest book.

Both are safe to use from several threads, hold a bounded number of entries and can be reset.
"""

from dataclasses import dataclass
from threading import Lock
from typing import Final

from adapters import limits


@dataclass(frozen=True, slots=True)
class Score:
    """One line of the table: a plainly invented name and its points, never negative."""

    name: str
    points: int


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a new score stands: `rank` counts from 1 and is shared by equals; `of`: scores on the table."""

    score: Score
    rank: int
    of: int


@dataclass(frozen=True, slots=True)
class Greeting:
    """One entry of the guest book. `number` counts from 1 and is never used again before a reset."""

    number: int
    lines: tuple[str, ...]


OPENING: Final = (
    Score("FERRY CAT", 9900),
    Score("LAMPLIGHTER", 8150),
    Score("TUG", 8150),
    Score("NET MENDER", 4020),
    Score("HERRING", 75),
)


class HighScores:
    """The table, best first; equals stand in the order they came."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._scores = list(OPENING)

    def reset(self) -> None:
        """Back to the opening table."""
        with self._lock:
            self._scores = list(OPENING)

    def table(self) -> tuple[tuple[int, Score], ...]:
        """Rank and score of every entry, in standard competition ranking (1, 2, 2, 4)."""
        with self._lock:
            scores = tuple(self._scores)
        return tuple((1 + sum(other.points > each.points for other in scores), each) for each in scores)

    def add(self, score: Score) -> Placed | None:
        """Put a score on the table; None where exactly that entry is there already.

        A full table drops its last entry.
        """
        with self._lock:
            if score in self._scores:
                return None
            self._scores = sorted([*self._scores, score], key=lambda each: -each.points)  # stable
            rank = 1 + sum(other.points > score.points for other in self._scores)
            of = len(self._scores)
            del self._scores[limits.DEMO_ENTRIES :]
            return Placed(score, rank, of)


class GuestBook:
    """What visitors wrote, oldest first; a full book drops its oldest entry."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._entries: list[Greeting] = []
        self._written = 0

    def reset(self) -> None:
        """An empty book."""
        with self._lock:
            self._entries = []
            self._written = 0

    def entries(self) -> tuple[Greeting, ...]:
        """Everything that is in the book now."""
        with self._lock:
            return tuple(self._entries)

    def write(self, lines: tuple[str, ...]) -> Greeting:
        """Add an entry."""
        with self._lock:
            self._written += 1
            greeting = Greeting(self._written, lines)
            self._entries = [*self._entries, greeting][-limits.DEMO_ENTRIES :]
            return greeting
