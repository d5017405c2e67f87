"""key -> whether it was not on disk a moment ago: a document that is never kept costs no look there."""

from collections import OrderedDict
from collections.abc import Callable

from adapters import limits


class Absent:
    """Keys without a copy on disk. Each is believed for limits.ABSENT_SECONDS: the disk may come back, or
    another process may share the folder. `clock` tells epoch seconds.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._noted: OrderedDict[str, float] = OrderedDict()

    def note(self, key: str) -> None:
        """There was no copy under `key` just now."""
        self._noted[key] = self._clock()
        self._noted.move_to_end(key)
        if len(self._noted) > limits.ABSENT_KEYS:
            self._noted.popitem(last=False)

    def clear(self, key: str) -> None:
        """A copy is being written under `key`."""
        self._noted.pop(key, None)

    def get(self, key: str) -> bool:
        """Whether a look at the disk for `key` can be spared."""
        noted = self._noted.get(key)
        return noted is not None and 0 <= self._clock() - noted < limits.ABSENT_SECONDS
