"""The time that a gateway goes by: this machine's, or one that stands still, so that replies are the same."""

import time
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final


@dataclass(frozen=True, slots=True)
class Clock:
    """`stands_at`: the moment at which it is stopped, aware; None: it runs.

    Only what replies tell goes by it: time-outs and pacing are always real.
    """

    stands_at: datetime | None = None

    @property
    def frozen(self) -> bool:
        """Whether it stands still."""
        return self.stands_at is not None

    def now(self) -> datetime:
        """Aware, in UTC."""
        return datetime.fromtimestamp(time.time(), UTC) if self.stands_at is None else self.stands_at

    def epoch(self) -> float:
        """The same as seconds since 1970."""
        return self.now().timestamp()


CLOCK: Final = Clock()
"""This machine's."""
