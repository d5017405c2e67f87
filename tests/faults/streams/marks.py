"""a call's number and a place in it -> the bytes that stand there, so that a lost, doubled, swapped or leaked
byte shows as soon as it comes.

Bytes go in records of sixteen, each with the call's number, the way it goes and its own number.
"""

import time
from collections import deque
from enum import Enum
from typing import Final

RECORD: Final = 16


class Form(Enum):
    """RAW has an FFh in each record, which telnet must double; TEXT has line ends, and is printable."""

    RAW = b"\xff%05d%c%09d"
    TEXT = b"%05d%c%08d\r\n"


class Wrong(AssertionError):
    """Bytes came that are not the next ones of their call."""


def number_of(record: bytes) -> int:
    """The call that a record is of."""
    return int(record.lstrip(b"\xff")[:5])


class Way:
    """One way of one call: the sender takes from it, whoever receives feeds it. Times are of one clock.

    `farewell`: what may follow when the call is over; `came` is how much of it has come, and what comes
    behind it is no more of the call's. `rate` and `latencies` count what comes, or is sent, from
    `counted_from` on.
    """

    def __init__(self, call: int, way: bytes, form: Form, farewell: bytes = b"") -> None:
        self.sent = self.got = self.came = 0
        self.behind = b""  # the farewell
        self.latencies: list[float] = []
        self.counted_from = 0.0
        self._first: tuple[float, int] | None = None  # when counting began, and what had come by then
        self._last = (0.0, 0)
        self._call, self._way, self._form, self._farewell = call, way, form, farewell
        self._stamps: deque[tuple[int, float]] = deque()

    def take(self, records: int, *, stamped: bool = False) -> bytes:
        """The next bytes to send. `stamped`: how long all of them take to arrive is noted."""
        data = self._bytes(self.sent, records * RECORD)
        self.sent += len(data)
        now = time.monotonic()
        if stamped and now >= self.counted_from:
            self._stamps.append((self.sent, now))
        return data

    def feed(self, data: bytes) -> None:
        """Bytes came. Wrong where they are not the next ones."""
        if self.came:
            self._bid(data)
            return
        expected = self._bytes(self.got, len(data))
        if data != expected:
            same = next(at for at, byte in enumerate(data) if byte != expected[at])
            self.got += same
            self._bid(data[same:])
        else:
            self.got += len(data)
        now = time.monotonic()
        if now >= self.counted_from:
            self._first = self._first or (now, self.got)
            self._last = (now, self.got)
        while self._stamps and self._stamps[0][0] <= self.got:
            self.latencies.append(now - self._stamps.popleft()[1])

    @property
    def rate(self) -> float:
        """Bytes a second, of those that were counted; 0 where there were none."""
        if self._first is None or self._last[0] == self._first[0]:
            return 0.0
        return (self._last[1] - self._first[1]) / (self._last[0] - self._first[0])

    @property
    def over(self) -> bool:
        """Whether the farewell is whole."""
        return 0 < len(self._farewell) == self.came

    @property
    def whole(self) -> bool:
        """Whether all that was sent has come."""
        return self.got == self.sent

    def _bid(self, data: bytes) -> None:
        part = data[: len(self._farewell) - self.came]
        if part != self._farewell[self.came : self.came + len(data)] or not (part or self.over):
            place = f"call {self._call}, {self._way.decode()} {self.got}"
            raise Wrong(f"{place}: {data[: 3 * RECORD]!r} came for {self._bytes(self.got, RECORD)!r}")
        self.came += len(part)
        self.behind += data[len(part) :]

    def _bytes(self, start: int, count: int) -> bytes:
        first, last = start // RECORD, (start + count + RECORD - 1) // RECORD
        form, key = self._form.value, (self._call, self._way[0])
        data = b"".join([form % (*key, number) for number in range(first, last)])
        return data[start - first * RECORD :][:count]
