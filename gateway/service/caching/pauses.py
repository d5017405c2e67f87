"""(key, failure) -> how long its far server is left alone: no retry storms, Retry-After respected.

After any passing failure a short pause during which a stale copy serves. Where the far server says how
long to wait (Retry-After, RFC 9110 section 10.2.3) the pause binds those without a copy too, up to a cap.
"""

import math
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from adapters import limits
from adapters.errors import AskedTooOften, FarBusy, FarFault


@dataclass(frozen=True, slots=True)
class Pause:
    """From `since` to `until`, in epoch seconds. `wish` is what the far server said; None: nothing."""

    since: float
    until: float
    wish: "Wish | None" = None

    @property
    def binding(self) -> bool:
        """Whether the far server itself asked for it."""
        return self.wish is not None


@dataclass(frozen=True, slots=True)
class Wish:
    """A failure that came with a time to wait, without the exception and all the frames it holds on to."""

    kind: type[AskedTooOften] | type[FarBusy]
    sentence: str
    over: float  # epoch seconds; may lie past the pause, which is capped

    def fault(self, now: float) -> FarFault:
        """The same failure again, with the whole seconds that are left."""
        return self.kind(self.sentence, max(1, math.ceil(self.over - now)))


class Pauses:
    """The pauses in force, by key; at most limits.PAUSES. `clock` tells epoch seconds."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._pauses: OrderedDict[str, Pause] = OrderedDict()

    def note(self, key: str, fault: FarFault) -> None:
        """The far server failed just now."""
        now = self._clock()
        pause = Pause(now, now + limits.FAILURE_PAUSE_SECONDS)
        if isinstance(fault, AskedTooOften | FarBusy) and fault.seconds:
            kind = AskedTooOften if isinstance(fault, AskedTooOften) else FarBusy
            wish = Wish(kind, fault.sentence, now + fault.seconds)
            pause = Pause(now, now + min(fault.seconds, limits.RETRY_HOLD_SECONDS), wish)
        self._pauses[key] = pause
        self._pauses.move_to_end(key)
        if len(self._pauses) > limits.PAUSES:
            self._pauses.popitem(last=False)

    def get(self, key: str) -> Pause | None:
        """The pause in force, or None. One that begins in the future (the clock was set back) is over."""
        pause = self._pauses.get(key)
        if pause is None:
            return None
        if pause.since - limits.CLOCK_SLACK_SECONDS <= self._clock() < pause.until:
            return pause
        del self._pauses[key]
        return None

    def clear(self, key: str) -> None:
        """The far server answered."""
        self._pauses.pop(key, None)
