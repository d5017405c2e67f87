"""The calls of a load, and both of their ends on loopback: programs that call, and far ends by their kind."""

import asyncio
import itertools
import random
import re
import socket
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from typing import Final, Protocol

from tests.faults.streams.marks import RECORD, Form, Way, Wrong, number_of

LINE: Final = 4  # records that a far end says at a time
SHARE: Final = 0.6  # of its client's pace, that one says which is not in a hurry
TYPED_SECONDS: Final = 0.5  # between two records that a client says
FLOOD: Final = 256  # records written at a time by who does not wait
BUFFER: Final = 32_768  # bytes of each kernel buffer at our ends, of which some are in flight
_CONNECTED: Final = re.compile(rb"\r\nCONNECT[^\r\n]*\r\n$")


class Kind(Enum):
    """What is out of the ordinary in a call."""

    STEADY = "nothing"
    FLOOD = "its far end says as much as is taken"
    DEAF = "its far end reads nothing, its client says as much as is taken"
    STILL = "its client reads nothing, its far end says as much as is taken"
    RESET = "its far end resets the connection"
    GONE = "its client resets its line"


@dataclass(frozen=True, slots=True)
class Door:
    """A listener, and what is called through it. `raw`: nothing is made of the bytes."""

    port: int
    pace: int
    modem: bool
    place: str
    raw: bool = True

    @property
    def farewell(self) -> bytes:
        """What tells a client that its call is over."""
        return b"\r\nNO CARRIER\r\n" if self.modem else b"\r\n226 00000 000 ..\r\n"


@dataclass(slots=True)
class Call:
    """One call. `down` is the way to the client, `up` the way to the far end."""

    number: int
    kind: Kind
    door: Door
    began: float
    down: Way = field(init=False)
    up: Way = field(init=False)
    early: float = -1.0  # seconds by which a byte came before its time, at most
    far: "FarEnd | None" = None
    program: "Program | None" = None

    def __post_init__(self) -> None:
        form = Form.RAW if self.door.raw else Form.TEXT
        self.down = Way(self.number, b"D", form, self.door.farewell)
        self.up = Way(self.number, b"U", form)


class Book(Protocol):
    """Who knows all calls, and what went wrong."""

    ending: bool

    def begin(self, program: "Program") -> Call:
        """A call that has just been answered."""
        ...

    def find(self, number: int) -> Call:
        """KeyError where there is none."""
        ...

    def wrong(self, what: str) -> None:
        """Something that must not be."""
        ...

    def again(self, program: "Program") -> None:
        """It dropped its line: somebody like it calls anew."""
        ...


class _End(asyncio.Protocol):
    """Either end: what both do with time and room."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.call: Call | None = None
        self.loop = asyncio.get_running_loop()
        self.transport: asyncio.Transport | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._room = True
        self._flood: Callable[[], None] | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        transport.set_write_buffer_limits(high=BUFFER)

    def connection_lost(self, exc: Exception | None) -> None:
        self.transport = None
        self.stop()

    def pause_writing(self) -> None:
        self._room = False

    def resume_writing(self) -> None:
        self._room = True
        if self._flood is not None:
            self._flood()

    def stop(self) -> None:
        """Say no more."""
        self._flood = None
        if self._timer is not None:
            self._timer.cancel()

    def say(self, data: bytes) -> None:
        """Send, where there is still a line."""
        if self.transport is not None:
            self.transport.write(data)

    def say_every(self, seconds: float, what: Callable[[], bytes], at: float | None = None) -> None:
        """Say the same kind of thing again and again; a turn that comes too late is not made up for."""
        now = self.loop.time()
        if at is not None:
            self.say(what())
        at = max(now, (now + random.uniform(0, seconds)) if at is None else at + seconds)
        self._timer = self.loop.call_at(at, self.say_every, seconds, what, at)

    def flood(self, what: Callable[[], bytes]) -> None:
        """Say as much as is taken."""

        def pour() -> None:
            while self._room and self.transport is not None:
                self.say(what())

        self._flood = pour
        pour()

    def later(self, seconds: float, do: Callable[[], None]) -> None:
        """Once, unless the line is lost before."""

        def now() -> None:
            if self.transport is not None:
                do()

        self.loop.call_later(seconds, now)

    def cut(self) -> None:
        """Reset the connection (RFC 9293 section 3.10.7)."""
        if self.transport is not None:
            own: socket.socket = self.transport.get_extra_info("socket")
            own.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self.transport.abort()

    @property
    def unsent(self) -> int:
        """Bytes that the system has not taken yet."""
        return 0 if self.transport is None else self.transport.get_write_buffer_size()

    def check(self, way: Way, data: bytes) -> None:
        """What came is what must come."""
        try:
            way.feed(data)
        except Wrong as wrong:
            self.book.wrong(str(wrong))
            if self.transport is not None:
                self.transport.abort()


class FarEnd(_End):
    """Who is called. `telnet`: it doubles FFh (RFC 854), and takes nothing else for telnet's."""

    def __init__(self, book: Book, telnet: bool) -> None:
        super().__init__(book)
        self._telnet = telnet
        self._held = self._head = b""

    def data_received(self, data: bytes) -> None:
        if self._telnet:
            data = self._held + data
            odd = (len(data) - len(data.rstrip(b"\xff"))) % 2
            data, self._held = data[: len(data) - odd], data[len(data) - odd :]
            data = data.replace(b"\xff\xff", b"\xff")
        if self.call is None:
            data, self._head = self._head + data, b""
            if len(data) < RECORD:
                self._head = data
                return
            self._begin(number_of(data[:RECORD]))
        if self.call is not None:
            self.check(self.call.up, data)

    def _begin(self, number: int) -> None:
        try:
            self.call = call = self.book.find(number)
        except KeyError:
            self.book.wrong(f"call {number} is none")
            return
        call.far = self
        if call.kind in {Kind.FLOOD, Kind.STILL}:
            self.flood(lambda: self.said(FLOOD))
            return
        self.say_every(LINE * RECORD / (call.door.pace * SHARE), lambda: self.said(LINE, stamped=True))
        if call.kind is Kind.DEAF and self.transport is not None:
            self.transport.pause_reading()
        elif call.kind is Kind.RESET:
            self.later(random.uniform(0.5, 3), self.cut)

    def said(self, records: int, *, stamped: bool = False) -> bytes:
        """The next that goes to the client, as it goes over this line."""
        assert self.call is not None
        data = self.call.down.take(records, stamped=stamped)
        return data.replace(b"\xff", b"\xff\xff") if self._telnet else data

    def hang_up(self) -> None:
        """When all has gone that was said."""
        self.stop()
        if self.transport is not None:
            self.transport.close()


class Program(_End):
    """Who calls, and calls again when the call is over."""

    def __init__(self, book: Book, kind: Kind, door: Door) -> None:
        super().__init__(book)
        self.kind, self.door = kind, door
        self._reply = b""
        self._word = b""  # which it is in step again with
        self._words = itertools.count()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self._dial()

    def connection_lost(self, exc: Exception | None) -> None:
        if self.kind is not Kind.GONE and not self.book.ending:
            self.book.wrong(f"the gateway dropped the line of {self.door}, {self.kind}")
        super().connection_lost(exc)

    def _dial(self) -> None:
        self._reply = b""
        self.say(
            b"ATDT%s\r" % self.door.place.encode()
            if self.door.modem
            else b"TALK %s:\r" % self.door.place.encode()
        )

    def data_received(self, data: bytes) -> None:
        if self.call is None:
            self._answered(data)
            return
        down = self.call.down
        self.check(down, data)
        if down.over:
            self._over(self.call)
        elif not down.came:
            due = self.call.began + (down.got - 1) / self.door.pace
            self.call.early = max(self.call.early, due - self.loop.time())

    def _answered(self, data: bytes) -> None:
        self._reply += data
        if self._word:
            if self._word + b"\r\n" in self._reply.replace(b" ", b""):
                self._word = b""
                self._dial()
            return
        good = _CONNECTED.search(self._reply) if self.door.modem else self._reply == b"200 00000 000 ..\r\n"
        if good:
            self._begin()
        elif len(self._reply) > 80 or b"NO CARRIER" in self._reply:
            self.book.wrong(f"{self.door} was answered {self._reply!r}")
            self.cut()

    def _begin(self) -> None:
        self.call = call = self.book.begin(self)
        self.say(call.up.take(1))
        if call.kind is Kind.DEAF:
            self.flood(lambda: call.up.take(FLOOD))
            return
        self.say_every(TYPED_SECONDS, lambda: call.up.take(1, stamped=True))
        if call.kind is Kind.STILL and self.transport is not None:
            self.transport.pause_reading()
        elif call.kind is Kind.GONE:
            self.later(random.uniform(1, 3), self._go)

    def _go(self) -> None:
        self.cut()
        self.book.again(self)

    def _over(self, call: Call) -> None:
        """What it said when the call was over is taken for requests: it gets in step by a NOOP first."""
        self.stop()
        if self.book.ending:
            return
        if call.kind is not Kind.RESET:
            self.book.wrong(f"call {call.number} ended by itself")
            return
        self.call = None
        if self.door.modem:
            self._dial()
            return
        self._word = b"STEP%d" % next(self._words)
        self._reply = call.down.behind
        self.say(b"\r\nNOOP %s\r\n" % self._word)
