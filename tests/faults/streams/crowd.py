"""A gateway's doors -> two hundred calls at once for a time, and the figures of how they fared."""

import asyncio
import itertools
import socket
import statistics
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final

from tests.faults.streams.calls import BUFFER, LINE, Call, Door, FarEnd, Kind, Program
from tests.faults.streams.marks import RECORD

PACES: Final = (960, 240)
SHARES: Final = {
    Kind.STEADY: 0.5,
    Kind.FLOOD: 0.2,
    Kind.DEAF: 0.1,
    Kind.STILL: 0.05,
    Kind.RESET: 0.1,
    Kind.GONE: 0.05,
}
PLACES: Final = ("raw", "raw", "net", "raw", "text", "modem", "raw", "raw", "modem", "raw")
"""What one after the other of each kind calls: ten are seven by bare TCP, one by telnet, two by modem."""
SETTLED_SECONDS: Final = 4.0  # after which is counted
_LOOK_SECONDS: Final = 0.25
_LAST_LOOKS: Final = 40  # at steady calls that end


def catalogue(state: str, tcp: int, telnet: int) -> str:
    """Four listeners: requests and a modem, at each of PACES, in that order."""
    text = f'[gateway]\nstate = "{state}"\nstall = "1h"\n'
    for pace in PACES:
        text += f"[profile.p{pace}]\npace = {pace}\n"
        for speaks in ("requests", "modem"):
            text += f'[[listen]]\nport = 0\nprofile = "p{pace}"\nspeaks = "{speaks}"\n'
    for name, base, form in (
        ("raw", f"tcp://127.0.0.1:{tcp}", "raw = true"),
        ("net", f"telnet://127.0.0.1:{telnet}", "raw = true"),
        ("text", f"tcp://127.0.0.1:{tcp}", 'lines = "crlf"'),
    ):
        text += f'[place.{name}]\nbase = "{base}"\n{form}\n'
    return text


def far_socket() -> socket.socket:
    """A listening socket on loopback for far ends, whose buffers are small."""
    own = socket.socket()
    for option in (socket.SO_SNDBUF, socket.SO_RCVBUF):
        own.setsockopt(socket.SOL_SOCKET, option, BUFFER)
    own.bind(("127.0.0.1", 0))
    own.listen(1000)
    return own


@dataclass(slots=True)
class Figures:
    """How they fared. Rates are relative errors, times are seconds, memory is in KiB.

    `down` are lines of far ends that are in no hurry: how much later the last byte came than at its client's
    pace; `up` are records that a client says. `held` are bytes that are on their way in a call whose one end
    takes none, or takes them at its pace: the most of all such calls, at each look.
    """

    calls: Counter[Kind] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    rates: dict[int, list[float]] = field(default_factory=dict)
    early: float = 0.0
    down: list[float] = field(default_factory=list)
    up: list[float] = field(default_factory=list)
    held: dict[Kind, list[int]] = field(default_factory=dict)
    memory: list[int] = field(default_factory=list)
    bytes_down: int = 0
    bytes_up: int = 0
    ended: int = 0  # of the steady calls, those that came whole to their end
    left_open: int = 0  # far ends that were not told for seconds that their client is gone

    def lines(self) -> list[str]:
        """For people."""
        told = [", ".join(f"{count} {kind.name.lower()}" for kind, count in self.calls.items()) + " calls"]
        for pace, errors in sorted(self.rates.items()):
            worst = max(errors, key=abs)
            told.append(
                f"pace {pace}: error {statistics.median(errors):+.3%}, worst {worst:+.3%} of {len(errors)}"
            )
        told.append(f"early by {max(0.0, self.early) * 1000:.3f} ms at most")
        for name, times in (("to clients, beyond the pace", self.down), ("to far ends", self.up)):
            late = sorted(each * 1000 for each in times)
            count = len(late)
            told.append(
                f"{name}: median {late[count // 2]:.1f} ms, 99 % {late[count * 99 // 100]:.1f} ms,"
                f" worst {late[-1]:.1f} ms, of {count}"
            )
        for kind, most in self.held.items():
            half = len(most) // 2
            told.append(
                f"{kind.name.lower()}: {max(most[:half]) / 1024:.0f} KiB on their way at most,"
                f" {max(most[half:]) / 1024:.0f} in the second half"
            )
        told.append(
            f"memory: {self.memory[0] / 1024:.1f} MiB when all had called,"
            f" {max(self.memory) / 1024:.1f} at most, {self.memory[-1] / 1024:.1f} at the end"
        )
        told.append(
            f"{self.ended} steady calls came whole to their end, {self.left_open} outlived their client"
        )
        told.append(
            f"{self.bytes_down:,} bytes to clients, {self.bytes_up:,} to far ends; wrong: {len(self.wrong)}"
        )
        return told


class Crowd:
    """All calls of one run. `memory` tells the gateway's."""

    def __init__(self, doors: Sequence[Door], count: int, memory: Callable[[], int]) -> None:
        self.ending = False
        self.figures = Figures()
        self._doors, self._count, self._memory = doors, count, memory
        self._numbers = itertools.count(1)
        self._calls: dict[int, Call] = {}
        self._retired: list[Call] = []
        self._loop = asyncio.get_running_loop()
        self._tasks: set[asyncio.Task[None]] = set()
        self._counted_from = 0.0

    # What the ends call

    def begin(self, program: Program) -> Call:
        """A call that has just been answered."""
        call = Call(next(self._numbers), program.kind, program.door, self._loop.time(), program=program)
        self._calls[call.number] = call
        self.figures.calls[call.kind] += 1
        call.down.counted_from = call.up.counted_from = self._counted_from
        return call

    def find(self, number: int) -> Call:
        """KeyError where there is none."""
        return self._calls[number]

    def wrong(self, what: str) -> None:
        """Something that must not be."""
        self.figures.wrong.append(what)

    def again(self, program: Program) -> None:
        """It dropped its line: somebody like it calls anew."""
        if not self.ending:
            call = program.call
            if call is not None and call.far is not None:
                self._loop.call_later(3, self._must_be_over, call)
            self._start(program.kind, program.door)

    def _must_be_over(self, call: Call) -> None:
        if call.far is not None and call.far.transport is not None and not self.ending:
            self.figures.left_open += 1

    # The run

    async def run(self, seconds: float) -> Figures:
        """Call, go on for so long, end the steady calls in order and the others anyhow."""
        self._counted_from = self._loop.time() + SETTLED_SECONDS
        for kind, share in SHARES.items():
            for number in range(round(self._count * share)):
                self._start(kind, self._doors[number % len(self._doors)])
        until = self._loop.time() + seconds
        await asyncio.sleep(SETTLED_SECONDS)
        while self._loop.time() < until:
            self._look()
            await asyncio.sleep(_LOOK_SECONDS)
        await self._end()
        return self._counted()

    def _start(self, kind: Kind, door: Door) -> None:
        task = self._loop.create_task(self._connect(kind, door))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _connect(self, kind: Kind, door: Door) -> None:
        own = socket.socket()
        own.setblocking(False)
        own.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, BUFFER)
        if (
            kind is Kind.STILL
        ):  # a small one is soon full of single bytes where this process rests for a while
            own.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER)
        await self._loop.sock_connect(own, ("127.0.0.1", door.port))
        await self._loop.create_connection(lambda: Program(self, kind, door), sock=own)

    def _look(self) -> None:
        self.figures.memory.append(self._memory())
        for kind in (Kind.FLOOD, Kind.DEAF, Kind.STILL):
            most = 0
            for call in self._calls.values():
                if call.kind is kind and call.far is not None and call.program is not None:
                    way, end = (call.up, call.program) if kind is Kind.DEAF else (call.down, call.far)
                    most = max(most, way.sent - end.unsent - way.got)
            self.figures.held.setdefault(kind, []).append(most)

    async def _end(self) -> None:
        """Clients stop first, so that all they said arrives; then far ends hang up, whose last line does."""
        self.ending = True
        steady = [call for call in self._calls.values() if call.kind is Kind.STEADY]
        for call in steady:
            if call.program is not None:
                call.program.stop()
        await asyncio.sleep(1)
        for call in steady:
            if call.far is not None:
                call.far.hang_up()
        for _ in range(_LAST_LOOKS):
            if all(call.down.over for call in steady):
                break
            await asyncio.sleep(_LOOK_SECONDS)
        self.figures.ended = sum(call.down.over and call.down.whole and call.up.whole for call in steady)
        for call in self._calls.values():
            for end in (call.program, call.far):
                if end is not None and end.transport is not None:
                    end.transport.abort()
        for task in self._tasks:
            task.cancel()
        await asyncio.sleep(0.1)

    def _counted(self) -> Figures:
        figures = self.figures
        for call in self._calls.values():
            figures.bytes_down += call.down.got
            figures.bytes_up += call.up.got
            figures.early = max(figures.early, call.early)
            own_time = LINE * RECORD / call.door.pace
            figures.down += [each - own_time for each in call.down.latencies]
            figures.up += call.up.latencies if call.kind is not Kind.DEAF else []
            if call.kind is Kind.FLOOD:
                figures.rates.setdefault(call.door.pace, []).append(call.down.rate / call.door.pace - 1)
        return figures


async def run_load(
    ports: Sequence[int],
    far: Mapping[bool, socket.socket],
    count: int,
    seconds: float,
    memory: Callable[[], int],
) -> Figures:
    """`ports` are a gateway's for `catalogue`; `far` are the far ends' sockets, by whether they speak
    telnet.
    """
    doors = []
    for place, (step, pace) in itertools.product(PLACES, enumerate(PACES)):
        modem = place == "modem"
        port = ports[2 * step + modem]
        doors.append(Door(port, pace, modem, "raw" if modem else place, raw=place != "text"))
    crowd = Crowd(doors, count, memory)
    loop, servers = asyncio.get_running_loop(), []
    for telnet, own in far.items():
        servers.append(await loop.create_server(lambda telnet=telnet: FarEnd(crowd, telnet), sock=own))  # type: ignore[misc]
    try:
        return await crowd.run(seconds)
    finally:
        for server in servers:
            server.close()
            with suppress(TimeoutError):
                await asyncio.wait_for(server.wait_closed(), 5)
