"""pace and gap -> when each byte leaves the gateway, in whole ticks.

The arithmetic is that of `gateway.wire.pacing.Schedule`, which a test compares it with: there in floating
seconds, as a service needs it, here exact, so that a simulation never loses a byte by rounding.
"""

from fractions import Fraction

from gateway.wire.pacing import CLOSER
from gateway.wire.settings import Settings


class Leaving:
    """Bytes in the order sent. `scale` is ticks a second; the gateway looks every `grain` ticks, 0: ever."""

    def __init__(self, settings: Settings, scale: int, grain: int) -> None:
        character = Fraction(scale, settings.pace) if settings.pace else Fraction(0)
        self._character, self._closest = _whole(character), _whole(character * CLOSER)
        self._gap = _whole(Fraction(settings.gap * scale, 1000))
        self._grain = grain
        self._planned = 0  # for the next byte, had none ever been late
        self._earliest = 0  # for the next byte, after the ones that were
        self._last = 0

    def when(self, held: int) -> int:
        """When the next byte leaves; not before `held`, which is something else than the pace."""
        due = max(self._planned, self._earliest)
        if held > due:
            return held
        return max(self._last, -(-due // self._grain) * self._grain if self._grain else due)

    def left(self, at: int, held: int) -> None:
        """It left at `at`; who was held is owed nothing."""
        if held > max(self._planned, self._earliest):
            self._planned = held
        self._last = at
        earliest = max(self._earliest, at - self._grain, self._planned)
        self._earliest = earliest + self._closest
        self._planned += self._character

    def end_line(self) -> None:
        """The byte before was a line's last."""
        if self._gap:
            self._planned += self._gap
            self._earliest = max(self._earliest, self._last + self._character + self._gap)


def _whole(ticks: Fraction) -> int:
    assert ticks.denominator == 1
    return ticks.numerator
