"""calls that begin, end, and carry bytes -> counts of a whole gateway's."""

from collections import Counter
from enum import Enum

from gateway.service.running.metrics import Number


class Way(Enum):
    """Who called whom."""

    OUT = "out"  # a client, a far server
    IN = "in"  # somebody, a client
    COUNTER = "counter"  # a client, a place's counter


class Tally:
    """`begun` calls of each kind, `open` ones now, and bytes: `sent` by clients, `heard` by them."""

    def __init__(self) -> None:
        self.begun: Counter[Way] = Counter()
        self.open = 0
        self.sent = self.heard = 0

    @property
    def numbers(self) -> list[Number]:
        """The same, for who collects them."""

        def begun() -> dict[str, float]:
            return {way.value: self.begun[way] for way in Way}

        def carried() -> dict[str, float]:
            return {"to_far": self.sent, "from_far": self.heard}

        return [
            Number("calls", "Calls that came about", begun, "way", counts=True),
            Number("calls_open", "Calls that go on now", lambda: self.open),
            Number("call_bytes", "Bytes of calls, at the far end", carried, "way", counts=True),
        ]

    def begin(self, way: Way) -> None:
        """A call is open."""
        self.begun[way] += 1
        self.open += 1

    def end(self) -> None:
        """It is over."""
        self.open -= 1
