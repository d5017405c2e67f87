"""what all sessions keep between requests -> who forgets first, so that it stays within limits.KEPT_BYTES.

A session keeps its last reply for MORE and AGAIN, what `#n` stands for, and the names that it was shown. One
that keeps little is not looked at. Of the others, whoever has asked nothing for longest forgets first; none
does that is still being sent to.
"""

from collections.abc import Sequence
from typing import Final, Protocol, TypeAlias
from weakref import WeakKeyDictionary

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
    """All keepers that keep much, whoever was used last behind the others. It keeps none of them alive."""

    def __init__(self) -> None:
        self._kept: WeakKeyDictionary[Keeper, Weights] = WeakKeyDictionary()

    @property
    def size(self) -> int:
        """Bytes that they keep between them, about."""
        return sum({id(each): size for kept in self._kept.values() for each, size in kept}.values())

    def gone(self, keeper: Keeper) -> None:
        """Nobody goes on with it. It forgets at once; the rest may last until Python looks for cycles."""
        self._kept.pop(keeper, None)
        keeper.forget()

    def used(self, keeper: Keeper) -> None:
        """It was served just now. NoRoom, and it has forgotten everything: replies on their way to others
        take all the room.
        """
        self._kept.pop(keeper, None)
        kept = keeper.kept
        if sum(size for _, size in kept) < limits.KEPT_LITTLE_BYTES:
            return
        self._kept[keeper] = kept
        while self.size > limits.KEPT_BYTES:
            longest = next((each for each in self._kept if each is not keeper and not each.busy), keeper)
            del self._kept[longest]
            longest.forget()
            if longest is keeper:
                raise NoRoom("Too much is being read; try later")
