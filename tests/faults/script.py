"""What goes wrong, as data: bytes of one way of one connection -> what is done with them. No socket here.

A `Plan` is one list of faults and what has been counted so far, over all connections of a proxy; a `Lane` is
one way of one connection. However the bytes are cut into chunks, the same comes out: bytes at the end that
may be the beginning of a pattern are held back until the next ones, or the end, show whether they are. So no
pattern of a plan should be the beginning of another one, and no message that a peer waits for should end in
the beginning of a pattern, or it is held back.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias


class Way(Enum):
    """Which way bytes go."""

    UP = "client to server"
    DOWN = "server to client"


class Channel(Enum):
    """Which connection: the one that was dialled, or an FTP data connection."""

    CONTROL = "control"
    DATA = "data"


@dataclass(frozen=True, slots=True)
class At:
    """A place in the traffic: where `pattern` comes for the `nth` time, counted over all connections.

    An empty pattern is the first byte of all.
    """

    pattern: bytes
    way: Way = Way.UP
    channel: Channel = Channel.CONTROL
    nth: int = 1

    def __post_init__(self) -> None:
        assert self.nth == 1 or (self.nth > 1 and self.pattern)


@dataclass(frozen=True, slots=True)
class After:
    """A place in the traffic: after `count` bytes, counted over all connections."""

    count: int
    way: Way
    channel: Channel = Channel.DATA


Place: TypeAlias = At | After


@dataclass(frozen=True, slots=True)
class Cut:
    """Both sides are cut there, pattern `passed` on or not. `dead`: and nobody can connect any more.

    `reset`: with a TCP reset, else in the ordinary way.
    """

    place: Place
    passed: bool = False
    dead: bool = False
    reset: bool = False


@dataclass(frozen=True, slots=True)
class Stall:
    """From there on nothing moves in that way on that connection, which stays open."""

    place: Place
    passed: bool = False


@dataclass(frozen=True, slots=True)
class Drip:
    """All of it comes slowly: so many bytes a second."""

    rate: float
    way: Way = Way.DOWN
    channel: Channel = Channel.CONTROL


@dataclass(frozen=True, slots=True)
class Replace:
    """The pattern becomes other bytes there."""

    place: At
    by: bytes


@dataclass(frozen=True, slots=True)
class Garble:
    """From there on, after the pattern, these bytes come instead, and nothing after them."""

    place: Place
    rubbish: bytes


@dataclass(frozen=True, slots=True)
class Refuse:
    """Nobody listens there."""

    channel: Channel = Channel.CONTROL


@dataclass(frozen=True, slots=True)
class Misdirect:
    """A reply to PASV names this host instead (four numbers with dots)."""

    host: str


Fault: TypeAlias = Cut | Stall | Drip | Replace | Garble | Refuse | Misdirect
_Placed: TypeAlias = Cut | Stall | Replace | Garble


@dataclass(frozen=True, slots=True)
class Send:
    """Pass these bytes on."""

    data: bytes


class Hang:
    """Pass nothing on any more, and keep the connection."""


Step: TypeAlias = Send | Hang | Cut


class Plan:
    """Faults, and how often each pattern was seen and how many bytes were counted."""

    def __init__(self, faults: Sequence[Fault] = ()) -> None:
        self.faults = tuple(faults)
        self.placed: tuple[_Placed, ...] = tuple(
            each for each in self.faults if isinstance(each, Cut | Stall | Replace | Garble)
        )
        self.counts = [0] * len(self.placed)  # matches of a pattern, or bytes
        self.over: set[int] = set()
        self.struck: list[Fault] = []

    def refuses(self, channel: Channel) -> bool:
        """Whether nobody listens there."""
        return Refuse(channel) in self.faults

    def rate(self, way: Way, channel: Channel) -> float | None:
        """Bytes a second, or None for as fast as they come."""
        return next(
            (
                each.rate
                for each in self.faults
                if isinstance(each, Drip) and (each.way, each.channel) == (way, channel)
            ),
            None,
        )

    @property
    def host(self) -> str | None:
        """What PASV replies are to name."""
        return next((each.host for each in self.faults if isinstance(each, Misdirect)), None)


class Lane:
    """One way of one connection: chunks -> steps. After a Hang or a Cut it gives nothing any more."""

    def __init__(self, plan: Plan, way: Way, channel: Channel) -> None:
        self._plan = plan
        self._mine = [
            index
            for index, fault in enumerate(plan.placed)
            if (fault.place.way, fault.place.channel) == (way, channel)
        ]
        self._held = b""
        self._over = False

    def feed(self, data: bytes) -> list[Step]:
        """What to do now that these bytes have come."""
        return self._run(self._held + data, end=False)

    def end(self) -> list[Step]:
        """What to do now that no more will come."""
        return self._run(self._held, end=True)

    def _run(self, data: bytes, *, end: bool) -> list[Step]:
        self._held = b""
        steps: list[Step] = []
        while data and not self._over:
            found = self._first(data)
            sure = len(data) if end else len(data) - self._partial(data)
            if found is None or found[1] > sure or (found[1] == sure < len(data) and found[2]):
                self._held = data[sure:]
                self._pass(data[:sure], steps)
                break
            index, start, length = found
            self._pass(data[:start], steps)
            matched, data = data[start : start + length], data[start + length :]
            self._strike(index, matched, steps)
        return steps

    def _pass(self, data: bytes, steps: list[Step]) -> None:
        if not data:
            return
        for index in self._mine:
            if isinstance(self._plan.placed[index].place, After):
                self._plan.counts[index] += len(data)
        steps.append(Send(data))

    def _waiting(self) -> list[int]:
        return [index for index in self._mine if index not in self._plan.over]

    def _first(self, data: bytes) -> tuple[int, int, int] | None:
        """The fault whose place comes first in these bytes: its index, where its match is, how long."""
        found: list[tuple[int, int, int]] = []
        for index in self._waiting():
            place = self._plan.placed[index].place
            if isinstance(place, After):
                left = max(place.count - self._plan.counts[index], 0)
                if left <= len(data):
                    found.append((left, index, 0))
            else:
                start = data.find(place.pattern)
                if start >= 0:
                    found.append((start, index, len(place.pattern)))
        if not found:
            return None
        start, index, length = min(found, key=lambda each: (each[0], each[2] > 0, each[1]))  # After before At
        return index, start, length

    def _partial(self, data: bytes) -> int:
        """How many bytes at the end may be the beginning of a pattern."""
        longest = 0
        for index in self._waiting():
            place = self._plan.placed[index].place
            if isinstance(place, At):
                for size in range(min(len(place.pattern) - 1, len(data)), longest, -1):
                    if data.endswith(place.pattern[:size]):
                        longest = size
                        break
        return longest

    def _strike(self, index: int, matched: bytes, steps: list[Step]) -> None:
        fault = self._plan.placed[index]
        if isinstance(fault.place, At):
            self._plan.counts[index] += 1
            if self._plan.counts[index] < fault.place.nth:
                self._pass(matched, steps)
                return
        self._plan.over.add(index)
        self._plan.struck.append(fault)
        match fault:
            case Replace():
                self._pass(fault.by, steps)
            case Garble():
                self._pass(matched, steps)
                steps += [Send(fault.rubbish), Hang()]
                self._over = True
            case Stall():
                self._pass(matched if fault.passed else b"", steps)
                steps.append(Hang())
                self._over = True
            case Cut():
                self._pass(matched if fault.passed else b"", steps)
                steps.append(fault)
                self._over = True
