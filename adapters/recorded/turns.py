"""The recorded answers to one request -> the next one: in their order, each as often as it came."""

from collections.abc import Hashable, Sequence

from adapters.recorded.exchange import Exchange


class Turns:
    """How far each request has come, in one gateway's run."""

    def __init__(self) -> None:
        self._given: dict[tuple[int, Hashable], int] = {}

    def next(self, fit: Sequence[Exchange], kind: Hashable) -> Exchange:
        """One of `fit`, which is not empty and as `Recordings.find` gives it; the last one for ever.

        `kind` tells requests apart that the same exchanges answer, such as those for parts of a document.
        """
        key = id(fit[0]), kind  # the recordings keep it, so that no other has its number
        given = self._given.get(key, 0)
        self._given[key] = given + 1
        for each in fit:
            if given < each.times:
                return each
            given -= each.times
        return fit[-1]
