"""large documents -> so many in memory at one time: whoever fetches one waits for its turn while it arrives.

Who begins the request sets `IN_HAND`; without that nothing is counted. A fetch that several requests share
has a turn of its own, which is theirs together until the last of them is done with the document.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final, Protocol

from adapters import limits


class Turns(Protocol):
    """Where turns come from."""

    async def take(self) -> None:
        """Wait for one. A HeadraceError where none comes in time."""
        ...

    def give_back(self) -> None:
        """It is over."""
        ...


class InHand:
    """What one request, or one fetch that is shared, has in memory: nothing that is large, or one turn's."""

    def __init__(self, turns: Turns) -> None:
        self._turns = turns
        self._users = 1
        self._has_turn = False
        self._others: list[InHand] = []

    async def large(self) -> None:
        """It is large: wait for a turn, unless it has one."""
        if self._has_turn:
            return
        await self._turns.take()
        if self._users:
            self._has_turn = True
        else:  # nobody wants it any more
            self._turns.give_back()

    def of_shared(self) -> "InHand":
        """One for a fetch that others may join."""
        return InHand(self._turns)

    def join(self, other: "InHand") -> None:
        """What the other has in hand is this one's, too."""
        other._users += 1
        self._others.append(other)

    def leave(self) -> None:
        """Done with it. The turn ends with the last user."""
        self._users -= 1
        if self._users:
            return
        if self._has_turn:
            self._has_turn = False
            self._turns.give_back()
        for each in self._others:
            each.leave()
        self._others.clear()


IN_HAND: Final[ContextVar[InHand | None]] = ContextVar("headrace_in_hand", default=None)
"""Of the request that is worked on."""


@contextmanager
def holding(turns: Turns) -> Iterator[None]:
    """One request, from its beginning to its answer."""
    hand = InHand(turns)
    token = IN_HAND.set(hand)
    try:
        yield
    finally:
        IN_HAND.reset(token)
        hand.leave()


async def in_hand(size: int) -> None:
    """So many bytes are here of what is wanted whole. A HeadraceError where no turn comes in time."""
    hand = IN_HAND.get()
    if hand is not None and size > limits.LARGE_BYTES:
        await hand.large()
