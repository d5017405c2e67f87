"""What a test gives for the time -> the clock that its gateway goes by, which the test moves by hand."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Final

from gateway.service.clocks import CLOCK, Clock

RECORDED: Final = "recorded"
"""Instead of a time: that of the newest recording of the gateway's site."""


@dataclass(slots=True)
class _Moved:
    """How far a clock was moved since it was set."""

    by: timedelta = timedelta()


@dataclass(frozen=True, slots=True)
class HandClock(Clock):
    """It stands still until it is moved. TIME, ages of kept copies and how long they are good go by it;
    time-outs and pacing do not: those are always real.
    """

    _moved: _Moved = field(default_factory=_Moved, compare=False)

    def now(self) -> datetime:
        """Aware, in UTC."""
        assert self.stands_at is not None
        return self.stands_at + self._moved.by

    def advance(
        self, *, seconds: float = 0, minutes: float = 0, hours: float = 0, days: float = 0
    ) -> datetime:
        """Move it on, or back; the new time."""
        self._moved.by += timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)
        return self.now()


def clock_of(wanted: str | datetime | Clock | None, latest: datetime | None = None) -> Clock:
    """This machine's for None, else one that stands still; ValueError for what is no time (RFC 3339).

    A time without a zone is UTC. `latest`: when the newest recording happened.
    """
    if wanted is None:
        return CLOCK
    if isinstance(wanted, Clock):
        return wanted
    if wanted == RECORDED:
        if latest is None:
            raise ValueError("clock='recorded' wants a site with recordings in it")
        return HandClock(latest)
    try:
        moment = datetime.fromisoformat(wanted) if isinstance(wanted, str) else wanted
        return HandClock(moment.astimezone(UTC) if moment.tzinfo is not None else moment.replace(tzinfo=UTC))
    except (ValueError, OverflowError) as error:
        raise ValueError(f"{wanted!r} is no time such as 2026-05-17T12:00:00Z (RFC 3339)") from error
