"""Catalogue -> the reserved ports, open; a reload opens and closes what it changes."""

import logging
from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Protocol

from adapters.errors import NotThere
from gateway.catalogue.model import Catalogue, ReservedPort
from gateway.service.callers.port import CallPort, Ringer
from gateway.service.listening import close_listening, descriptors_of
from gateway.service.running.inheriting import CALLS, Inherited, Spot
from gateway.service.streams.tally import Tally

_log = logging.getLogger(__name__)


class Line(Ringer, Protocol):
    """A line that speaks modem, and the port that it rings for now."""

    @property
    def rings(self) -> int | None:
        """The reserved port's number, None for none."""
        ...


class CallPorts:
    """Shared by all clients of one gateway. `catalogue` is asked anew each time."""

    def __init__(
        self, catalogue: Callable[[], Catalogue], tally: Tally, given: Inherited | None = None
    ) -> None:
        self._catalogue = catalogue
        self._given = given or Inherited()
        self._held_back: set[int] = set()  # by who had them before, and still needs them
        self._tally = tally
        self._ports: dict[int, CallPort] = {}
        self._hosts: dict[int, str] = {}
        self._lines: list[Line] = []
        self._closing: list[CallPort] = []

    # Life

    async def start(self) -> None:
        """Open every port, or none: OSError says which failed. Those that the gateway before this one still
        needs stay closed until it frees them.
        """
        reserved = self._catalogue().reserved
        if self._given.tether is not None:
            self._held_back = {number for number, each in reserved.items() if self._given.has(*_spot(each))}
        try:
            for number, each in reserved.items():
                if number not in self._held_back:
                    await self._open(each)
        except OSError:
            await self.close()
            raise

    async def close_old(self) -> None:
        """Close what a new catalogue has no more."""
        wanted: Mapping[int, ReservedPort] = self._catalogue().reserved
        gone = [
            number
            for number, host in self._hosts.items()
            if number not in wanted or wanted[number].host != host
        ]
        await self._close(gone)

    async def open_new(self) -> None:
        """Open what it has more. A port that cannot be opened is logged and left out."""
        for number, each in self._catalogue().reserved.items():
            if number in self._ports or number in self._held_back:
                continue
            try:
                await self._open(each)
            except OSError as error:
                _log.error("cannot take calls on %s:%s: %s", each.host, number, error.strerror)

    def offer(self) -> None:
        """Have callers ring where they may now and nowhere else: a reload may have changed that."""
        for each in self._ports.values():
            each.check_ringing()
        for each in self._ports.values():
            each.offer()

    async def close(self) -> None:
        """Close every port. A call that goes on does."""
        await self._close(list(self._ports))

    async def told(self) -> None:
        """Wait until all who were turned away know."""
        closing, self._closing = self._closing, []
        for each in closing:
            await each.told()

    async def _open(self, reserved: ReservedPort) -> None:
        number = reserved.port
        port = CallPort(lambda: self._catalogue().reserved.get(number), lambda: self._at(number), self._tally)
        await port.open(reserved.host, number, self._given.take(*_spot(reserved)))
        self._ports[number], self._hosts[number] = port, reserved.host

    async def _close(self, numbers: Collection[int]) -> None:
        closing = [self._ports.pop(number) for number in numbers]
        self._closing += closing
        for number in numbers:
            del self._hosts[number]
        for port in closing:
            port.shut()
        await close_listening(server for port in closing for server in port.servers)

    # A gateway that goes on where another was

    @property
    def sockets(self) -> dict[Spot, list[int]]:
        """The descriptors of all ports that are open."""
        return {
            (self._hosts[number], number, CALLS): descriptors_of(port.servers)
            for number, port in self._ports.items()
        }

    async def close_unused(self) -> list[int]:
        """Close those where nobody hears, calls, talks or may be rung; their numbers."""
        unused = [number for number, port in self._ports.items() if not port.in_use]
        await self._close(unused)
        return unused

    async def freed(self, number: int | None) -> None:
        """Who had that port needs it no more, or none of them where that is None."""
        self._held_back = set() if number is None else self._held_back - {number}
        await self.open_new()

    @property
    def open(self) -> Mapping[int, str]:
        """The hosts of the ports that are open, by number."""
        return dict(self._hosts)

    # Who hears

    def port(self, number: int) -> CallPort:
        """NotThere where it is not open."""
        port = self._ports.get(number)
        if port is None:
            raise NotThere(f"Port {number} takes no calls now")
        return port

    def join(self, line: Line) -> None:
        """From now on callers may ring at this line, the longest there first."""
        self._lines.append(line)
        self.free(line)

    def part(self, line: Line) -> None:
        """They may not any more. Harmless where they never might."""
        if line in self._lines:
            self._lines.remove(line)
            for each in self._ports.values():
                each.left(line)

    def free(self, line: Line) -> None:
        """Who waits may ring there now."""
        port = self.of(line)
        if port is not None:
            port.offer()

    def of(self, line: Line) -> CallPort | None:
        """The port whose callers ring at this line."""
        return None if line.rings is None else self._ports.get(line.rings)

    def _at(self, number: int) -> Iterator[Line]:
        return (each for each in self._lines if each.rings == number)


def _spot(reserved: ReservedPort) -> Spot:
    return reserved.host, reserved.port, CALLS
