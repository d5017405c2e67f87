"""What carries a call, whoever is at its far end: a far server's stream, a caller's, or a counter."""

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

from gateway.service.streams.tally import Tally, Way


@runtime_checkable
class OpenCall(Protocol):
    """Each way is used by one task at a time; both ways at once."""

    datagrams: bool
    sent: int
    heard: int

    def count(self, tally: Tally, way: Way) -> None:
        """It has begun, and is counted from now on."""
        ...

    def facts(self) -> Sequence[tuple[str, str]]:
        """What has passed, as pairs of name(8) and text for WHY."""
        ...

    async def say(self, data: bytes) -> None:
        """Send; it waits for room. BrokenOff, TooLarge."""
        ...

    async def hear(self) -> bytes | None:
        """The next bytes, or None at the far end's end. BrokenOff. One that is cancelled loses nothing.

        Whoever asks again has handed on what came before.
        """
        ...

    def leave(self) -> None:
        """Hang up when all that was said has gone; nobody waits for that."""
        ...

    def drop(self) -> None:
        """Hang up now. Harmless at any time."""
        ...
