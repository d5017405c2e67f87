"""what all sessions keep between requests -> who forgets first, so that it stays within limits.KEPT_BYTES.

A session keeps its last reply for MORE and AGAIN, what `#n` stands for, and the names that it was shown. One
that keeps little is not looked at. Of the others, whoever has asked nothing for longest forgets first; none
does that is still being sent to.
"""

import weakref
from collections import Counter
from collections.abc import Sequence
from typing import Final, Protocol, TypeAlias

from adapters import limits
from adapters.errors import NoRoom

Weights: TypeAlias = Sequence[tuple[object, int]]
"""Things kept, and about how many bytes each takes; what two sessions share is one and the same thing."""

RECORD_BYTES: Final = 120  # of a laid-out record, beside its characters: measured with tracemalloc
ENTRY_BYTES: Final = 250  # of a folder's entry
NAME_BYTES: Final = 350  # of what one shown name stands for
LINK_BYTES: Final = 60  # of one link, beside its characters


class Keeper(Protocol):
    """One session, or what has one of its own."""

    @property
    def busy(self) -> bool:
        """Whether a reply is on its way."""
        ...

    @property
    def kept(self) -> Weights:
        """What it keeps."""
        ...

    def forget(self) -> None:
        """Keep nothing; whoever asks for it is told so."""
        ...


class Memory:
    """All keepers that keep much, whoever was used last behind the others. It keeps none of them alive.

    `size`: bytes that they keep between them, about.
    """

    def __init__(self) -> None:
        self._kept: dict[int, tuple[weakref.ref[Keeper], Weights]] = {}
        self._users: Counter[int] = Counter()  # of each thing
        self.size = 0

    def gone(self, keeper: Keeper) -> None:
        """Nobody goes on with it. It forgets at once; the rest may last until Python looks for cycles."""
        self._leave(id(keeper))
        keeper.forget()

    def used(self, keeper: Keeper) -> None:
        """It was served just now. NoRoom, and it has forgotten everything: replies on their way to others
        take all the room.
        """
        self._leave(id(keeper))
        kept = keeper.kept
        if sum(size for _, size in kept) < limits.KEPT_LITTLE_BYTES:
            return
        self._enter(keeper, kept)
        while self.size > limits.KEPT_BYTES:
            longest = self._longest(keeper)
            self.gone(longest)
            if longest is keeper:
                raise NoRoom("Too much is being read; try later")

    def _longest(self, keeper: Keeper) -> Keeper:
        """Whoever was used longest ago and may forget; `keeper` itself where nobody else may."""
        others = (found for known, _ in self._kept.values() if (found := known()) is not None)
        return next((each for each in others if each is not keeper and not each.busy), keeper)

    def _enter(self, keeper: Keeper, kept: Weights) -> None:
        key = id(keeper)
        self._kept[key] = weakref.ref(keeper, lambda _: self._leave(key)), kept
        for thing, size in kept:
            self.size += 0 if self._users[id(thing)] else size
            self._users[id(thing)] += 1

    def _leave(self, key: int) -> None:
        _, kept = self._kept.pop(key, (None, ()))
        for thing, size in kept:
            self._users[id(thing)] -= 1
            if not self._users[id(thing)]:
                del self._users[id(thing)]
                self.size -= size
