"""Catalogue -> doors: opens them, counts clients, reloads, and stops without cutting a reply short."""

import asyncio
import logging
import socket
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final, TypeAlias

from adapters import limits
from gateway.catalogue.access import Rights
from gateway.catalogue.model import Catalogue, Listener, SerialDevice, Speaks
from gateway.service.callers.answers import CallerAnswers
from gateway.service.callers.ports import CallPorts
from gateway.service.clients.client import Client
from gateway.service.clients.connection import Connection
from gateway.service.clients.granting import Fulfiller
from gateway.service.clients.pacing import Pacing
from gateway.service.clients.resuming import Seat
from gateway.service.clocks import CLOCK, Clock
from gateway.service.counter.answers import CounterAnswers
from gateway.service.descriptors import Complaints, make_room
from gateway.service.devices.device import Device
from gateway.service.devices.wire import Wire
from gateway.service.listening import close_listening
from gateway.service.members.accounts import Accounts
from gateway.service.members.answers import MemberAnswers
from gateway.service.modems.line import ModemLine
from gateway.service.streams.tally import Tally
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.visitors import Visitor, home_of

_log = logging.getLogger(__name__)
_SWEEP: Final = 1.0  # seconds between looks at idle clients
_Place: TypeAlias = tuple[str, int, int] | SerialDevice
"""Host, port, and a number where several take a free port; or a device, as it is set."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A listener that is open: where it really listens."""

    listener: Listener
    host: str
    port: int

    @property
    def announcement(self) -> str:
        """The line that says that it is ready."""
        what = f"({self.listener.profile.lower()})"
        if self.listener.device is not None:
            return f"headrace: listening on {self.host}, {wire_of(self.listener).name} {what}"
        return f"headrace: listening on {where(self.host, self.port)} {what}"


def where(host: str, port: int) -> str:
    """A host and port in one word, as in a URL."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


class _Door:
    """A listener that is open. A reload may change what is behind it, but not where it is."""

    def __init__(self, listener: Listener) -> None:
        self.listener = listener
        self.server: asyncio.Server | None = None
        self.device: Device | None = None
        self.seat = self._seat()

    def change(self, listener: Listener) -> Seat | None:
        """Take a new listener at the same place; the seat that is no more."""
        old, self.listener = self.seat, listener
        if listener.resume == (old is not None):
            return None
        self.seat = self._seat()
        return old

    def _seat(self) -> Seat | None:
        return Seat(lambda: self.listener.resume_for) if self.listener.resume else None


def _places(listeners: Sequence[Listener]) -> dict[_Place, Listener]:
    """The listeners by host and port; those at free ports are told apart by their number."""
    found: dict[_Place, Listener] = {}
    for each in listeners:
        if each.device is not None:
            found[each.device] = each
            continue
        number = sum(place[:2] == (each.host, each.port) for place in found if isinstance(place, tuple))
        found[each.host, each.port, number] = each
    return found


def wire_of(listener: Listener) -> Wire:
    """A listener's serial device as the service opens it. A modem's line is up without its program's DTR."""
    device, modem = listener.device, listener.speaks is Speaks.MODEM
    assert device is not None
    parity, handshake = device.parity.value, device.handshake.value
    kept = (device.path, device.speed, device.bits, parity, device.stop_bits, handshake)
    return Wire(*kept, device.carrier and not modem, device.drop, device.carrier and modem)


Tap: TypeAlias = Callable[[asyncio.Protocol, int], asyncio.Protocol]
"""What stands between a client's line and its connection; told the listener's number, from 1."""


class Server:
    """All listeners of one gateway, and the clients on them. `clock` is what TIME tells."""

    def __init__(
        self,
        catalogue: Catalogue,
        make_answers: Callable[[Callable[[], Catalogue]], Fulfiller],
        clock: Clock = CLOCK,
        tap: Tap | None = None,
        accounts: Accounts | None = None,
    ) -> None:
        self._catalogue = catalogue
        self._accounts = accounts or Accounts(None, clock.now)
        self.tally = Tally()
        self._ports = CallPorts(lambda: self._catalogue, self.tally)
        answers = CallerAnswers(self._ports, make_answers(lambda: self._catalogue), self.tally)
        self._answers = MemberAnswers(lambda: self._catalogue.members, answers, clock.epoch)
        self._world = World(
            lambda: self._catalogue, clock.now, timed=not clock.frozen, accounts=self._accounts
        )
        self._connections: set[Client] = set()
        self._member_seats: dict[str, Seat] = {}
        self._at_home: Counter[str] = Counter()  # clients by where they are
        self._turned_away: set[Client] = set()
        self._room = 0
        self._reloading = asyncio.Lock()
        self._doors: dict[_Place, _Door] = {}
        self._shut_devices: list[Device] = []
        self._sweeper: asyncio.Task[None] | None = None
        self._tap = tap
        self.pacing = Pacing()
        self.stopping = False

    @property
    def clients(self) -> int:
        """How many clients are connected."""
        return len(self._connections)

    @property
    def leaving(self) -> int:
        """How many clients were turned away and have not hung up yet."""
        return len(self._turned_away)

    # What connections ask

    def admit(self, client: Client, listener: Listener) -> str:
        """Whether one more client may come in, and there is room for it."""
        refusal = self._refusal(client, listener)
        if refusal:
            self._turned_away.add(client)
            return refusal
        self._connections.add(client)
        self._at_home[home_of(client.peer)] += 1
        return ""

    def _refusal(self, client: Client, listener: Listener) -> str:
        if not listener.admits(client.peer):
            _log.info("peer=%s may not connect to port %d", client.peer, listener.port)
            return "Nobody may connect from there"
        most = self._catalogue.gateway.per_address
        if most is not None and client.peer and self._at_home[home_of(client.peer)] >= most:
            return "Too many connections from there"
        full = len(self._connections) >= self._room and not self._back(client)
        return "The gateway is full; try again later" if self.stopping or full else ""

    def charge(self, payer: str, rights: Rights) -> None:
        """One request."""
        self._accounts.charge(payer, rights)

    def moved(self, payer: str | None, count: int) -> None:
        """Bytes that passed."""
        if payer is not None:
            self._accounts.moved(payer, count)

    def _back(self, client: Client) -> bool:
        """Whether a full house has room: for the one machine of a port, back on a new line.

        The line that its seat knows stays until AGAIN; any other, which has asked nothing, gives way.
        """
        seat = client.seat
        if seat is None:
            return False
        for each in self._connections:
            if each.seat is seat and not seat.held_by(each):
                each.abort()
        return True

    def seat_of(self, member: str) -> Seat:
        """Where the session of a member is kept whose line is lost: the last who logged in as that."""
        if member not in self._member_seats:
            self._member_seats[member] = Seat(lambda: Listener().resume_for)
        return self._member_seats[member]

    def may_linger(self) -> bool:
        """Whether a client that was turned away may take its time to hang up."""
        return len(self._turned_away) <= limits.TURNED_AWAY

    def dismiss(self, client: Client) -> None:
        """A client is gone."""
        if client in self._connections:
            self._connections.discard(client)
            home = home_of(client.peer)
            self._at_home[home] -= 1
            if not self._at_home[home]:
                del self._at_home[home]
        self._turned_away.discard(client)

    def wait_seconds(self) -> float:
        """Within how long a request is answered."""
        return self._catalogue.gateway.wait

    def stall_seconds(self) -> float:
        """How long a client may read nothing of a reply."""
        return self._catalogue.gateway.stall

    def idle_seconds(self) -> float:
        """How long a client may say nothing."""
        return self._catalogue.gateway.idle

    @property
    def call_ports(self) -> list[tuple[str, int]]:
        """Host and port of each reserved port that is open."""
        return [(host, number) for number, host in sorted(self._ports.open.items())]

    # Life

    async def start(self) -> list[Bound]:
        """Open every listener, or none: OSError says which failed."""
        asyncio.get_running_loop().set_exception_handler(Complaints())
        self._room = make_room(self._catalogue.gateway.clients, len(self._catalogue.reserved))
        try:
            bound = [await self._listen(*each) for each in _places(self._catalogue.listeners).items()]
            await self._ports.start()
        except OSError:
            await self._close(list(self._doors))
            await self._let_go()
            raise
        self._sweeper = asyncio.get_running_loop().create_task(self._sweep())
        return bound

    async def reload(self, catalogue: Catalogue) -> list[Bound]:
        """Take a new catalogue: the next request of every client sees it. Returns newly opened listeners.

        A listener that cannot be opened is logged and left out; clients of a closed one stay connected.
        """
        async with self._reloading:
            return await self._reload(catalogue)

    async def _reload(self, catalogue: Catalogue) -> list[Bound]:
        if catalogue.gateway.state != self._catalogue.gateway.state:
            _log.warning("the state folder changes with the next start only")
        self._catalogue = catalogue
        self._room = make_room(catalogue.gateway.clients, len(catalogue.reserved))
        wanted = _places(catalogue.listeners)
        await self._ports.close_old()
        await self._close([each for each in self._doors if each not in wanted])
        await self._let_go()
        await self._ports.open_new()
        bound = []
        for place, listener in wanted.items():
            if place in self._doors:
                seat = self._doors[place].change(listener)
                if seat is not None:
                    await seat.close()
                continue
            try:
                bound.append(await self._listen(place, listener))
            except OSError as error:
                _log.error("cannot listen on %s:%s: %s", listener.host, listener.port, error.strerror)
        self._ports.offer()
        return bound

    async def stop(self) -> None:
        """Finish replies in flight, answer new work with 421, close."""
        self.stopping = True
        if self._sweeper is not None:
            self._sweeper.cancel()
        await self._close(list(self._doors))
        for seat in self._member_seats.values():
            await seat.close()
        for connection in list(self._connections):
            connection.turn_away("The gateway is going down")
        await self._ports.close()
        busy = [asyncio.ensure_future(each.gone()) for each in self._connections]
        if busy:
            await asyncio.wait(busy, timeout=self.wait_seconds())
            for connection in list(self._connections):
                connection.hurry()
            await asyncio.wait(busy, timeout=limits.STOP_MARGIN_SECONDS)
        for connection in (*self._connections, *self._turned_away):
            connection.abort()
        if busy:
            await asyncio.wait(busy, timeout=limits.STOP_MARGIN_SECONDS)
        await self._let_go()
        await self._ports.told()
        self._answers.close()

    async def _let_go(self) -> None:
        """Devices that were shut: what is still on them has a moment to end."""
        devices, self._shut_devices = self._shut_devices, []
        await asyncio.gather(*(each.stop() for each in devices))

    async def _listen(self, place: _Place, listener: Listener) -> Bound:
        door = _Door(listener)

        def begin(peer: str) -> Session:
            profile = door.listener.profile_for(peer)
            visitor = Visitor(peer, lambda: door.listener.rights_for(peer))
            return Session(self._world, profile if profile in self._catalogue.profiles else "PLAIN", visitor)

        def connection() -> asyncio.Protocol:
            answers = CounterAnswers(self._answers, self._world, door.listener.device, self.tally)
            if door.listener.speaks is Speaks.MODEM:
                return ModemLine(self, lambda: self._catalogue, answers, lambda: door.listener, self._ports)
            made = Connection(self, begin, answers, door.listener, door.seat)
            return made if self._tap is None else self._tap(made, self._number_of(door.listener))

        if listener.device is not None:
            door.device = Device(wire_of(listener), connection)
            door.device.start()
            self._doors[place] = door
            return Bound(listener, listener.device.path, 0)
        server = await asyncio.get_running_loop().create_server(
            connection, listener.host, listener.port, backlog=limits.BACKLOG, reuse_address=True
        )
        for each in server.sockets:
            with suppress(OSError):  # a smaller buffer is only a saving
                each.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.SOCKET_SEND_BYTES)
            with suppress(OSError, AttributeError):  # one that vanished is noticed, also while it hears
                each.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
                each.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE, limits.KEEPALIVE_SECONDS)
        door.server = server
        self._doors[place] = door
        host, port = server.sockets[0].getsockname()[:2]
        return Bound(listener, host, port)

    def _number_of(self, listener: Listener) -> int:
        """Where it stands in the catalogue, from 1; 1 where it does not any more."""
        listeners = self._catalogue.listeners
        return listeners.index(listener) + 1 if listener in listeners else 1

    async def _close(self, places: list[_Place]) -> None:
        doors = [self._doors.pop(place) for place in places]
        for door in doors:
            if door.device is not None:
                door.device.shut()
                self._shut_devices.append(door.device)
        await close_listening(door.server for door in doors if door.server is not None)
        for door in doors:
            if door.seat is not None:
                await door.seat.close()

    async def _sweep(self) -> None:
        """Tell clients that have said nothing for long enough that their connection closes."""
        loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(_SWEEP)
            latest = loop.time() - self._catalogue.gateway.idle
            for connection in list(self._connections):
                if connection.heard_at < latest and not connection.waits_for_call:
                    connection.turn_away("Nothing came for too long")
