"""a client's bytes in a call -> those that go on, and whether it has left them (CONTRACT section 3, TALK).

The client leaves with a second of silence, `+++`, one line end if it cannot do without, and a second of
silence. What may be that is held back until it is known not to be. The pluses may come one by one, each
sooner than a silence lasts. So it is with modems, too: V.250 knows no such sequence (from memory) and leaves
the way from data to commands open; this one is common practice.
"""

import re
from typing import Final

from adapters import limits
from gateway.wire.charsets import SEVEN_BITS

_END: Final = rb"(?:\r[\n\0]?|\n|\x9b)?"


class Escape:
    """`plus` is the client's byte for `+`; `parity`: bit 7 of it, and of a line end, is ignored. `began` is
    when the data did. Times are seconds of one clock.
    """

    def __init__(self, began: float, plus: bytes = b"+", *, parity: bool = False) -> None:
        self._whole = re.compile(re.escape(plus) * 3 + _END)
        self._plus = plus[0]
        self._parity = parity
        self.start(began)

    def start(self, now: float) -> None:
        """Data begin, or begin again: silence counts from here."""
        self._heard_at = now
        self._held = b""
        self.left = False

    def feed(self, data: bytes, now: float) -> bytes:
        """What goes on of all that has come. Nothing does once the client has left."""
        silent = self._silent(now)
        if self.at(now) or not data:
            return b""
        self._heard_at = now
        if self._held and not silent and self._may_be_it(self._held + data):
            self._held += data
            return b""
        before, self._held = self._held, b""
        if silent and self._may_be_it(data):
            self._held = data
            return before
        return before + data

    def at(self, now: float) -> bool:
        """Whether the client has left, seeing that nothing else has come until now."""
        if self._whole.fullmatch(self._read(self._held)) and self._silent(now):
            self._held, self.left = b"", True
        return self.left

    @property
    def due(self) -> float | None:
        """When `at` or `release` could say something new, unless something comes before."""
        return self._quiet_at if self._held else None

    def release(self, now: float) -> bytes:
        """What was held back and can be it no longer, since only a part of it came in time."""
        if not self._held or self.at(now) or not self._silent(now):
            return b""
        return self.drop()

    def drop(self) -> bytes:
        """What was held back, whatever it may be: nothing is looked for any more."""
        held, self._held = self._held, b""
        return held

    @property
    def _quiet_at(self) -> float:
        return self._heard_at + limits.GUARD_SECONDS

    def _silent(self, now: float) -> bool:
        return now >= self._quiet_at

    def _may_be_it(self, data: bytes) -> bool:
        """Whether it is the beginning of it, or all."""
        data = self._read(data)
        end = data.lstrip(bytes((self._plus,)))
        pluses = len(data) - len(end)
        if pluses < 3:
            return not end and pluses > 0
        return pluses == 3 and (not end or self._whole.fullmatch(data) is not None)

    def _read(self, data: bytes) -> bytes:
        return data.translate(SEVEN_BITS) if self._parity else data
