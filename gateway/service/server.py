"""Catalogue -> doors: opens them, counts clients, reloads, and stops without cutting a reply short."""

import asyncio
import logging
import socket
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Final, TypeAlias

from adapters import limits
from adapters.listening import open_listening
from gateway.catalogue.access import Rights
from gateway.catalogue.model import Catalogue, Listener, SerialDevice, Speaks
from gateway.service.admission import Admission
from gateway.service.callers.answers import CallerAnswers
from gateway.service.callers.ports import CallPorts
from gateway.service.clients.client import Client
from gateway.service.clients.connection import Connection
from gateway.service.clients.granting import Fulfiller
from gateway.service.clients.pacing import Pacing
from gateway.service.clients.resuming import Seat
from gateway.service.clocks import CLOCK, Clock
from gateway.service.counter.answers import CounterAnswers
from gateway.service.crowd import Crowd
from gateway.service.devices.device import Device
from gateway.service.doors import Bound, Door, Place, places, wire_of
from gateway.service.listening import close_listening, descriptors_of
from gateway.service.members.accounts import Accounts
from gateway.service.members.answers import MemberAnswers
from gateway.service.modems.line import ModemLine
from gateway.service.running.counts import Counts
from gateway.service.running.descriptors import Complaints, make_room
from gateway.service.running.inheriting import Inherited, Spot
from gateway.service.streams.tally import Tally
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.visitors import Visitor

_log = logging.getLogger(__name__)
_SWEEP: Final = 1.0  # seconds between looks at idle clients
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
        *,
        given: Inherited | None = None,
    ) -> None:
        self._catalogue = catalogue
        self._given = given or Inherited()
        self._accounts = accounts or Accounts(None, clock.now)
        self.tally, self.counts = Tally(), Counts()
        self._ports = CallPorts(lambda: self._catalogue, self.tally, self._given)
        self.crowd = Crowd(lambda: self._catalogue, make_answers(lambda: self._catalogue))
        answers = CallerAnswers(self._ports, self.crowd, self.tally)
        self._answers = MemberAnswers(
            lambda: self._catalogue.members, answers, clock.epoch, self.counts.logins
        )
        self._world = World(
            lambda: self._catalogue, clock.now, timed=not clock.frozen, accounts=self._accounts
        )
        self.admission = Admission(lambda: self._catalogue, lambda: self.stopping, self.counts.refused)
        self._member_seats: dict[str, Seat] = {}
        self._reloading = asyncio.Lock()
        self._doors: dict[Place, Door] = {}
        self._shut_devices: list[Device] = []
        self._sweeper: asyncio.Task[None] | None = None
        self._tap = tap
        self.pacing = Pacing()
        self.stopping = False
        self._followed = False  # by another process, which lets clients in

    @property
    def clients(self) -> int:
        """How many clients are connected."""
        return len(self.admission.here)

    @property
    def kept(self) -> int:
        """Bytes of replies that clients may go on with, about."""
        return self._world.memory.size

    @property
    def leaving(self) -> int:
        """How many clients were turned away and have not hung up yet."""
        return len(self.admission.leaving)

    # What connections ask

    def admit(self, client: Client, listener: Listener) -> str:
        """Whether one more client may come in, and there is room for it."""
        return self.admission.admit(client, listener)

    def answered(self, code: str) -> None:
        """One reply, for the count."""
        self.counts.replies[code] += 1

    def charge(self, payer: str, rights: Rights) -> None:
        """One request."""
        self._accounts.charge(payer, rights)

    def moved(self, payer: str | None, count: int) -> None:
        """Bytes that passed."""
        if payer is not None:
            self._accounts.moved(payer, count)

    def seat_of(self, member: str) -> Seat:
        """Where the session of a member is kept whose line is lost: the last who logged in as that."""
        if member not in self._member_seats:
            self._member_seats[member] = Seat(lambda: Listener().resume_for)
        return self._member_seats[member]

    def may_linger(self) -> bool:
        """Whether a client that was turned away may take its time to hang up."""
        return self.admission.may_linger()

    def dismiss(self, client: Client) -> None:
        """A client is gone."""
        self.admission.dismiss(client)

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

    # What is seen from outside (see `outlook`)

    @property
    def absent(self) -> list[Listener]:
        """Listeners that could not be opened."""
        wanted = places(self._catalogue.listeners)
        return [listener for place, listener in wanted.items() if place not in self._doors]

    # Life

    @property
    def sockets(self) -> dict[Spot, list[int]]:
        """The descriptors of all that listens, by what it was opened for."""
        found = {
            place: descriptors_of(door.servers)
            for place, door in self._doors.items()
            if not isinstance(place, SerialDevice)
        }
        return {**found, **self._ports.sockets}

    async def follow_on(self) -> None:
        """Another process lets clients in from now on. Who is here stays, each device until its session ends;
        one that has said nothing yet is let go.
        """
        async with self._reloading:
            self._followed = True
            for client, heard_at in list(self.admission.here.items()):
                if not client.peer and client.heard_at == heard_at:
                    client.abort()
            doors = list(self._doors.values())
            for door in doors:
                if door.device is not None:
                    door.device.shut()
            await close_listening(server for door in doors for server in door.servers)
            for door in doors:
                door.servers = []

    async def free_ports(self) -> list[int]:
        """Reserved ports that nobody here needs any more, closed."""
        return await self._ports.close_unused()

    async def port_freed(self, number: int | None) -> None:
        """The process before this one needs that port no more; None: it is gone."""
        await self._ports.freed(number)

    @property
    def deserted(self) -> bool:
        """Whether nobody is here any more, on no line and no device."""
        devices = any(each.device is not None and each.device.up for each in self._doors.values())
        return not (self.admission.here or self.admission.leaving or self._ports.open or devices)

    async def start(self) -> list[Bound]:
        """Open every listener, or none: OSError says which failed."""
        asyncio.get_running_loop().set_exception_handler(Complaints())
        self.admission.room = make_room(self._catalogue.gateway.clients, len(self._catalogue.reserved))
        try:
            bound = [await self._listen(*each) for each in places(self._catalogue.listeners).items()]
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
        wanted = places(catalogue.listeners)
        if self._followed:
            await self._change(wanted)
            return []
        self.admission.room = make_room(catalogue.gateway.clients, len(catalogue.reserved))
        await self._ports.close_old()
        await self._close([each for each in self._doors if each not in wanted])
        await self._let_go()
        await self._ports.open_new()
        fresh = {place: listener for place, listener in wanted.items() if place not in self._doors}
        await self._change(wanted)
        bound = []
        for place, listener in fresh.items():
            try:
                bound.append(await self._listen(place, listener))
            except OSError as error:
                _log.error("cannot listen on %s:%s: %s", listener.host, listener.port, error.strerror)
        self._ports.offer()
        return bound

    async def _change(self, wanted: Mapping[Place, Listener]) -> None:
        """What is behind the doors that stay."""
        for place in self._doors.keys() & wanted.keys():
            seat = self._doors[place].change(wanted[place])
            if seat is not None:
                await seat.close()

    async def stop(self) -> None:
        """Finish replies in flight, answer new work with 421, close."""
        self.stopping = True
        if self._sweeper is not None:
            self._sweeper.cancel()
        await self._close(list(self._doors))
        for seat in self._member_seats.values():
            await seat.close()
        for connection in list(self.admission.here):
            connection.turn_away("The gateway is going down")
        await self._ports.close()
        busy = [asyncio.ensure_future(each.gone()) for each in self.admission.here]
        if busy:
            await asyncio.wait(busy, timeout=self.wait_seconds())
            for connection in list(self.admission.here):
                connection.hurry()
            await asyncio.wait(busy, timeout=limits.STOP_MARGIN_SECONDS)
        for each in (*self.admission.here, *self.admission.leaving):
            each.abort()
        if busy:
            await asyncio.wait(busy, timeout=limits.STOP_MARGIN_SECONDS)
        await self._let_go()
        await self._ports.told()
        self._answers.close()

    async def _let_go(self) -> None:
        """Devices that were shut: what is still on them has a moment to end."""
        devices, self._shut_devices = self._shut_devices, []
        await asyncio.gather(*(each.stop() for each in devices))

    async def _listen(self, place: Place, listener: Listener) -> Bound:
        door = Door(listener)

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
        assert not isinstance(place, SerialDevice)

        def turn_back(line: socket.socket, peer: str) -> bool:
            alone = door.seat is None and door.listener.speaks is Speaks.REQUESTS and self._tap is None
            return alone and self.admission.turn_back(door.listener, begin, line, peer)

        given = self._given.take(*place)
        door.servers = await open_listening(connection, listener.host, listener.port, given, turn_back)
        sockets = [each for server in door.servers for each in server.sockets]
        for each in sockets:
            with suppress(OSError):  # a smaller buffer is only a saving
                each.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.SOCKET_SEND_BYTES)
            with suppress(OSError, AttributeError):  # one that vanished is noticed, also while it hears
                each.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
                each.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE, limits.KEEPALIVE_SECONDS)
        self._doors[place] = door
        host, port = sockets[0].getsockname()[:2]
        return Bound(listener, host, port)

    def _number_of(self, listener: Listener) -> int:
        """Where it stands in the catalogue, from 1; 1 where it does not any more."""
        listeners = self._catalogue.listeners
        return listeners.index(listener) + 1 if listener in listeners else 1

    async def _close(self, places: list[Place]) -> None:
        doors = [self._doors.pop(place) for place in places]
        for door in doors:
            if door.device is not None:
                door.device.shut()
                self._shut_devices.append(door.device)
        await close_listening(server for door in doors for server in door.servers)
        for door in doors:
            if door.seat is not None:
                await door.seat.close()

    async def _sweep(self) -> None:
        """Tell clients that have said nothing for long enough that their connection closes."""
        loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(_SWEEP)
            latest = loop.time() - self._catalogue.gateway.idle
            for connection in list(self.admission.here):
                if connection.heard_at < latest and not connection.waits_for_call:
                    connection.turn_away("Nothing came for too long")
