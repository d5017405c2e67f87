"""One program's line that speaks modem: bytes and time into the modem, its effects out."""

import asyncio
import logging
from collections.abc import Callable, Coroutine, Iterator, Sequence
from contextlib import suppress
from typing import Any, Final

from adapters import limits
from adapters.errors import HeadraceError
from gateway import VERSION
from gateway.catalogue.model import Catalogue, Listener
from gateway.modem.calls import State
from gateway.modem.effects import Answer, Carrier, Dial, Effect, HangUp, Refuse, Send, Show
from gateway.modem.extended import Identity
from gateway.modem.modem import Modem
from gateway.modem.results import Failure
from gateway.modem.terminal import ModemSettings
from gateway.service.callers.ports import CallPorts
from gateway.service.clients.client import House
from gateway.service.clients.granting import Fulfiller
from gateway.service.clients.guest import Guest
from gateway.service.clients.sending import Sender
from gateway.service.logs import reason
from gateway.service.modems.calling import Asking, OpenedCall, called, failure_of
from gateway.service.modems.wires import Wires
from gateway.service.streams.open_call import OpenCall
from gateway.session.streams.talking import StreamText
from gateway.session.visitors import NOBODY, Visitor
from gateway.session.wishes import Called
from gateway.streams.to_far import FromClient
from gateway.wire.lines import LineReader
from gateway.wire.settings import Settings

_log = logging.getLogger(__name__)
_SLICE: Final = 256  # bytes shown, or typed, at a time


class ModemLine(asyncio.Protocol):
    """One line, from its first byte to its last. `listener` is asked anew each time."""

    _sender: Sender  # from `connection_made` on

    def __init__(
        self,
        house: House,
        catalogue: Callable[[], Catalogue],
        fulfiller: Fulfiller,
        listener: Callable[[], Listener],
        ports: CallPorts,
    ) -> None:
        self._house, self._catalogue, self._fulfiller, self._listener = house, catalogue, fulfiller, listener
        self._ports = ports
        self._loop = asyncio.get_running_loop()
        device = listener().device
        speed = Identity().speed if device is None else device.speed
        self._modem = Modem(ModemSettings(Identity(speed, VERSION)))
        self._transport: asyncio.Transport | None = None
        self._shown = bytearray()
        self._news = asyncio.Event()
        self._moved = asyncio.Event()
        self._call: OpenedCall | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._dialling: asyncio.Task[None] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._lost = asyncio.Event()
        self._free = True
        self._owing = False  # what was sent at once, and the program did not take
        self._missed = False  # a call that did not ring yet
        self._wires: Wires | None = None
        self._guest = Guest(house, catalogue, NOBODY)
        self._settings = Settings()
        self._from_client = FromClient(self._settings)
        self.heard_at = self._loop.time()
        self.peer = ""

    # What asyncio calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the program in, or tell it that there is no way out."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        peer = transport.get_extra_info("peername")
        self.peer = str(peer[0]) if isinstance(peer, tuple) else ""
        visitor = Visitor(self.peer, lambda: self._listener().rights_for(self.peer))
        self._guest = Guest(self._house, self._catalogue, visitor)
        profiles, listener = self._catalogue().profiles, self._listener()
        self._settings = profiles.get(listener.profile_for(self.peer), Settings())
        self._from_client = FromClient(self._settings)
        reader = LineReader(self._settings)
        self._sender = Sender(self._house, reader, transport, lambda: self.heard_at, self._guest.count)
        if self._house.admit(self, listener):
            transport.write(b"\r\nNO DIALTONE\r\n")
            transport.close()
            return
        self._begin(self._show(self._sender))
        self._wires = Wires.of(transport, listener.device) if listener.device is not None else None
        if self._wires is not None:
            self._wires.show(self._modem.carrier)
            self._begin(self._wires.watch(self._ready))
        self._ports.join(self)

    def data_received(self, data: bytes) -> None:
        """Bytes came: typed a few at a time, so that others have their turn."""
        self.heard_at = self._loop.time()
        self._guest.count(len(data))
        data = self._from_client.feed(data)
        if self._from_client.output and self._transport is not None:
            self._transport.write(bytes(self._from_client.output))
            self._from_client.output.clear()
            self._owing = not self._sender.writable
        for start in range(0, len(data), _SLICE):
            self._do(self._modem.typed(data[start : start + _SLICE], self._loop.time()))
        self._watch()
        self._listen()

    def eof_received(self) -> bool:
        """The program has dropped its line."""
        return False

    def pause_writing(self) -> None:
        """The program reads more slowly than we write."""
        self._sender.pause()

    def resume_writing(self) -> None:
        """The program has read."""
        self._sender.resume()
        self._owing = False
        self._listen()

    def connection_lost(self, exc: Exception | None) -> None:
        """The line is gone, and the call with it."""
        self._transport = None
        self._ports.part(self)
        self._hang_up()
        if self._timer is not None:
            self._timer.cancel()
        self._sender.end()
        for task in self._tasks:
            task.cancel()
        self._lost.set()
        self._house.dismiss(self)

    # What the server and its reserved ports call

    @property
    def seat(self) -> None:
        """None: nothing is kept."""
        return

    @property
    def waits_for_call(self) -> bool:
        """Whether somebody may call here."""
        return self.rings is not None and self._call is None

    @property
    def rings(self) -> int | None:
        """The reserved port whose callers ring here."""
        return self._listener().rings

    def ring(self) -> bool:
        """Somebody calls. It does not ring while anything is to be shown yet: who calls again and again would
        have the program read nothing else.
        """
        if self._modem.state is not State.COMMAND or self._transport is None:
            return False
        self._missed = len(self._shown) > 0
        if self._missed:
            return False
        self._do(self._modem.rang(self._loop.time()))
        self._watch()
        return True

    def ring_over(self) -> None:
        """Who called does not any more."""
        self._do(self._modem.ring_over(self._loop.time()))
        self._watch()

    def turn_away(self, sentence: str) -> None:
        """The gateway ends, or nothing was heard for too long: the call is over, and the line with it."""
        if self._transport is not None and not self._transport.is_closing():
            if self._call is not None:
                self._transport.write(b"\r\nNO CARRIER\r\n")
            self._transport.close()
            self._loop.call_later(self._house.stall_seconds(), self.abort)  # whoever reads nothing

    def hurry(self) -> None:
        """There is no reply to hurry with."""

    def surrender(self) -> None:
        """Nobody takes a modem's line over."""

    def abort(self) -> None:
        """Cut the line now."""
        if self._transport is not None:
            self._transport.abort()

    async def gone(self) -> None:
        """Wait until the line is gone."""
        await self._lost.wait()

    # Effects

    def _do(self, effects: Sequence[Effect]) -> None:
        for effect in effects:
            match effect:
                case Show(data):
                    self._shown += data
                    self._news.set()
                case Send(data):
                    self._say(data)
                case Dial():
                    self._dialling = self._begin(self._dial(effect))
                case Answer():
                    self._dialling = self._begin(self._answer())
                case Refuse():
                    self._refuse()
                case HangUp():
                    self._hang_up()
                case Carrier(up):  # pragma: no branch — mypy knows that these are all
                    if self._wires is not None:
                        self._wires.show(up)
        self._moved.set()
        free = self._modem.state is State.COMMAND
        if free and not self._free:
            self._loop.call_soon(self._ports.free, self)
        self._free = free

    def _ready(self, up: bool) -> None:
        """The program's ready line has risen or fallen."""
        self._do(self._modem.dtr(up, self._loop.time()))
        self._watch()

    def _watch(self) -> None:
        """Come back when the modem's time is due."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        due = self._modem.due()
        if due is not None and self._transport is not None:
            self._timer = self._loop.call_at(due, self._due)

    def _due(self) -> None:
        self._timer = None
        self._do(self._modem.at(self._loop.time()))
        self._watch()

    def _begin(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = self._loop.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._ended)
        return task

    def _ended(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and task.exception() is not None:  # nobody would hear anything any more
            _log.error("peer=%s a modem's line failed", self.peer, exc_info=task.exception())
            if self._transport is not None:
                self._transport.abort()

    # Calls

    async def _dial(self, dial: Dial) -> None:
        """Make the call, and tell the modem how that went. HangUp cancels it."""
        seconds = float(self._modem.parameters.wait)
        try:
            self._guest.charge()
            asking = Asking(self._fulfiller, self._settings, self._guest.check)
            form, granted = await called(self._catalogue(), asking, dial, seconds)
        except HeadraceError as error:
            trace = error if _log.isEnabledFor(logging.DEBUG) else None
            told = (self.peer, dial.text, error.code, reason(error))
            _log.info("peer=%s dialled=%r code=%s why=%r", *told, exc_info=trace)
            self._dialling = None
            self._do(self._modem.failed(failure_of(error), self._loop.time()))
            self._watch()
            return
        self._dialling = None
        _log.info("peer=%s dialled=%r connected", self.peer, dial.text)
        self._connected(form, granted)

    async def _answer(self) -> None:
        """Take the call that rings, and tell the modem how that went. HangUp cancels it."""
        port = self._ports.of(self)
        called = None if port is None else port.answered(self)
        self._dialling = None
        if called is None:
            self._do(self._modem.failed(Failure.REFUSED, self._loop.time()))
            self._watch()
            return
        _log.info("peer=%s answered=%s", self.peer, called.address)
        self._connected(self._catalogue().reserved.get(self.rings or 0), called)

    def _refuse(self) -> None:
        port = self._ports.of(self)
        if port is not None:
            port.refused(self)

    def _connected(self, form: StreamText | None, called: Called) -> None:
        assert isinstance(called.call, OpenCall)
        letters = self._catalogue().gateway.letters
        self._call = call = OpenedCall(form, called.call, self._settings, letters)
        self._begin(self._to_far(call))
        self._begin(self._from_far(call))
        self._do(self._modem.connected(self._loop.time()))
        self._watch()

    def _hang_up(self) -> None:
        if self._dialling is not None:
            self._dialling.cancel()
            self._dialling = None
            self._refuse()
        call, self._call = self._call, None
        if call is not None:
            _log.info("peer=%s hung up sent=%d heard=%d", self.peer, call.call.sent, call.call.heard)
            call.news.set()
            self._listen()
            if self._transport is None or call.waiting:
                call.call.drop()
            else:
                call.call.leave()

    def _say(self, data: bytes) -> None:
        call = self._call
        assert call is not None  # the modem sends in a call only
        call.waiting += data if call.to_far is None else call.to_far.feed(data)
        call.news.set()

    def _listen(self) -> None:
        """Read on, unless what was typed, or what is to be shown of it, waits to be taken."""
        if self._transport is None:
            return
        waiting = 0 if self._call is None else len(self._call.waiting)
        full = self._owing or max(waiting, len(self._shown)) > limits.PIPELINE_BYTES
        (self._transport.pause_reading if full else self._transport.resume_reading)()

    async def _to_far(self, call: OpenedCall) -> None:
        with suppress(HeadraceError):  # whoever listens is told of it
            while self._call is call:
                await call.news.wait()
                call.news.clear()
                while call.waiting and self._call is call:
                    data = bytes(call.waiting[: limits.CHUNK_BYTES])
                    del call.waiting[: len(data)]
                    await call.call.say(data)
                self._listen()

    async def _from_far(self, call: OpenedCall) -> None:
        """What the far end says, while the modem shows it and the program takes it."""
        with suppress(HeadraceError):
            while (data := await call.call.hear()) is not None:
                self.heard_at = self._loop.time()
                for start in range(0, len(data), _SLICE):
                    await self._room(call)
                    if self._call is not call:
                        return
                    shown = call.to_client.feed(data[start : start + _SLICE])
                    self._do(self._modem.received(shown, self._loop.time()))
                await self._room(call)  # who is asked for more knows that this was taken
        await self._room(call)
        if self._call is call:
            self._do(self._modem.carrier_lost(self._loop.time()))
            self._watch()

    async def _room(self, call: OpenedCall) -> None:
        """Wait while the modem hears nothing, or some of it is to be shown yet; not much, since the answer to
        who leaves a flood comes behind that.
        """
        while self._call is call and (len(self._shown) > _SLICE or not self._modem.hearing):
            self._moved.clear()
            await self._moved.wait()

    async def _show(self, sender: Sender) -> None:
        """All that is shown, at the line's pace."""
        while True:
            await self._news.wait()
            self._news.clear()
            while self._shown:
                await sender.send(self._slices(), whole=False)
                if not sender.open:
                    return

    def _slices(self) -> Iterator[bytes]:
        """What is shown, and what is added meanwhile, so that a pace is kept from one piece to the next."""
        while self._shown:
            data = bytes(self._shown[:_SLICE])
            yield data
            del self._shown[: len(data)]
            self._moved.set()
            self._listen()
            if self._missed and not self._shown:
                self._missed = False
                self._ports.free(self)
