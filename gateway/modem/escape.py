"""What a terminal sends during a call -> what goes on to the far end, or the wish to leave the data.

Silence, `+++`, silence is the wish, and is not sent on; nor is one line end behind the pluses, for programs
that can only send lines. The pluses may come one by one, each sooner than a silence lasts. V.250 knows no
such sequence (from memory) and leaves the way from data to commands open: this one is common practice.
"""

from typing import Final

SILENCE_SECONDS: Final = 1.0
"""What is held back, is held back so long at most."""
_WHOLE: Final = (b"+++\r\n", b"+++\r\0", b"+++\n")
_PLUSES: Final = 3
_SEVEN_BITS: Final = bytes(each & 0x7F for each in range(256))


class Escape:
    """`start` when a call's data begin; `over` when `due` has come; `typed` only after that."""

    def __init__(self) -> None:
        self._held = b""
        self._last = 0.0

    def start(self, now: float) -> None:
        """Data begin, or begin again: silence counts from here."""
        self._held = b""
        self._last = now

    def due(self) -> float | None:
        """When it shows what the held bytes are."""
        return self._last + SILENCE_SECONDS if self._held else None

    def typed(self, data: bytes, now: float) -> bytes:
        """The bytes that go on now. Bit 7 is ignored in what is looked for, and kept in what goes on."""
        if not data:
            return b""
        begins = bool(self._held) or now >= self._last + SILENCE_SECONDS
        self._last = now
        taken = self._held
        place = 0
        while begins and place < len(data) and _fits(longer := taken + data[place : place + 1]):
            taken = longer
            place += 1
        if place == len(data):
            self._held = taken
            return b""
        self._held = b""
        return taken + data[place:]

    def over(self) -> bytes | None:
        """There was silence: the bytes that were held and go on, or None: it was the wish."""
        held, self._held = self._held, b""
        return None if len(held) >= _PLUSES else held

    def release(self) -> bytes:
        """The bytes that were held, which go on."""
        held, self._held = self._held, b""
        return held


def _fits(held: bytes) -> bool:
    masked = held.translate(_SEVEN_BITS)
    return any(each.startswith(masked) for each in _WHOLE)
