"""Callers at one reserved port -> one of them at a time to whoever hears or answers; the others are told.

A caller sees the banner, then waits until HEAR takes it or a modem's line answers it, until it is turned
away, or until its time is over. While one waits or talks, all others are busy.
"""

import asyncio
import logging
import socket
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from typing import Protocol

from adapters import limits
from adapters.errors import BrokenOff, FarBusy, HeadraceError, NotThere
from adapters.stream.listening import listen
from adapters.streams import Stream
from gateway.catalogue.model import LineEnd, ReservedPort
from gateway.service.streams.calls import Call
from gateway.service.streams.tally import Tally, Way
from gateway.session.wishes import Called, Provenance

_log = logging.getLogger(__name__)


class Ringer(Protocol):
    """A line at which callers ring."""

    def ring(self) -> bool:
        """Somebody calls. Whether it rings: not where the line is in use."""
        ...

    def ring_over(self) -> None:
        """Who called has given up, or was answered elsewhere."""
        ...


class Hearer:
    """Somebody who has said HEAR: a `wishes.FarHearing`. `wake` is called when there is something to take."""

    def __init__(self, port: "CallPort") -> None:
        self.wake: Callable[[], None] = lambda: None
        self._port = port
        self._called: Called | None = None
        self._fault: HeadraceError | None = None

    def taken(self) -> Called | None:
        """The call that has come, once; a HeadraceError where none will come any more."""
        if self._fault is not None:
            raise self._fault
        called, self._called = self._called, None
        return called

    def drop(self) -> None:
        """Hear no longer; a call that has come and was not taken is over."""
        self._port.unheard(self)
        if self._called is not None:
            self._called.call.drop()
            self._called = None

    # What the port says

    def give(self, called: Called) -> None:
        """A call has come."""
        self._called = called
        self.wake()

    def end(self, fault: HeadraceError) -> None:
        """None will."""
        self._fault = fault
        self.wake()


class _Caller:
    """Who has called and was not answered yet."""

    def __init__(self, stream: Stream, address: str, over: Callable[[], None]) -> None:
        self.stream = stream
        self.address = address
        self.call = Call(stream, over)
        self.began = asyncio.get_running_loop().time()
        self.ready = False  # has seen the banner
        self.waiting: asyncio.Task[None] | None = None


class CallPort:
    """One reserved port. `reserved` is asked anew for each caller; at `ringers` it rings, the first first."""

    def __init__(
        self,
        reserved: Callable[[], ReservedPort | None],
        ringers: Callable[[], Iterable[Ringer]],
        tally: Tally,
    ) -> None:
        self._reserved, self._ringers, self._tally = reserved, ringers, tally
        self.servers: list[asyncio.Server] = []
        self._closed = False
        self._caller: _Caller | None = None
        self._open: Call | None = None
        self._hearer: Hearer | None = None
        self._ringing: Ringer | None = None
        self._goodbyes: set[asyncio.Task[None]] = set()

    # Life

    async def open(self, host: str, port: int, given: Sequence[socket.socket] = ()) -> None:
        """Take callers from now on, at sockets `given` for it if any. OSError where that is not possible."""
        self.servers = await listen(host, port, self._rang, lambda: self._kept().telnet, given)

    def shut(self) -> None:
        """Turn away who waits, and whoever comes yet, until the servers close. A call that goes on does."""
        self._closed = True
        if self._caller is not None:
            self._give_up(self._caller)
        if self._hearer is not None:
            hearer, self._hearer = self._hearer, None
            hearer.end(NotThere("The port is reserved no more"))

    async def told(self) -> None:
        """Wait until all who were turned away know: at most limits.STREAM_CLOSE_SECONDS, twice."""
        if self._goodbyes:
            await asyncio.wait(self._goodbyes)

    def _kept(self) -> ReservedPort:
        return self._reserved() or ReservedPort(0)

    # Who hears

    def hear(self) -> Hearer:
        """Wait for a call, or take the one that waits. FarBusy: somebody else hears or talks there."""
        if self._hearer is not None or self._open is not None:
            raise FarBusy("Somebody else hears or talks there")
        self._hearer = Hearer(self)
        hearer = self._hearer
        self.offer()
        return hearer

    def unheard(self, hearer: Hearer) -> None:
        """That one hears no longer."""
        if self._hearer is hearer:
            self._hearer = None

    @property
    def in_use(self) -> bool:
        """Whether somebody hears, calls or talks there, or may be rung."""
        return bool(self._hearer or self._open or self._caller or any(True for _ in self._ringers()))

    @property
    def waiting(self) -> str | None:
        """The address of who waits to be answered, or None."""
        return None if self._caller is None else self._caller.address

    def turn_away(self) -> str | None:
        """Turn away who waits to be answered: the address, or None."""
        caller = self._caller
        if caller is None:
            return None
        self._give_up(caller)
        return caller.address

    def answered(self, line: Ringer) -> Called | None:
        """The call that rings at that line; None where its caller has just gone."""
        if self._ringing is not line or self._caller is None:
            return None
        self._ringing = None
        return self._take(self._caller)

    def refused(self, line: Ringer) -> None:
        """That line turns away who rings there."""
        if self._ringing is line and self._caller is not None:
            self._ringing = None
            self._give_up(self._caller)

    def left(self, line: Ringer) -> None:
        """That line is gone; who rang there may ring elsewhere."""
        if self._ringing is line:
            self._ringing = None
            self.offer()

    def check_ringing(self) -> None:
        """The line at which it rings may ring here no more."""
        ringing = self._ringing
        if ringing is not None and ringing not in self._ringers():
            self._ringing = None
            ringing.ring_over()

    def offer(self) -> None:
        """Have who waits taken or ring, where somebody hears or a line is free now."""
        caller = self._caller
        if caller is None or not caller.ready:
            return
        if self._hearer is not None:
            hearer, self._hearer = self._hearer, None
            hearer.give(self._take(caller))
        elif self._ringing is None:
            self._ringing = next((each for each in self._ringers() if each.ring()), None)

    # Callers

    def _rang(self, stream: Stream, address: str) -> None:
        if self._closed or self._caller is not None or self._open is not None:
            self._tell_busy(stream, address)
            return
        caller = _Caller(stream, address, self._over)
        self._caller = caller
        caller.waiting = asyncio.get_running_loop().create_task(self._attend(caller))

    async def _attend(self, caller: _Caller) -> None:
        """Until it was waited for long enough, or it hangs up; whoever takes it ends this."""
        reserved = self._kept()
        try:
            async with asyncio.timeout(reserved.waiting or None):
                if reserved.banner:
                    await caller.stream.send(_line(reserved.banner, reserved))
                caller.ready = True
                self.offer()
                if self._caller is not caller:  # it was taken
                    return
                if reserved.waiting:
                    await caller.call.gone()
        except (TimeoutError, BrokenOff):
            self._give_up(caller)
        except Exception:  # noqa: BLE001 one caller's fault must not keep the port from others
            _log.exception("port=%d a caller's line failed", reserved.port)
            self._give_up(caller)
        else:
            self._give_up(caller, gone=bool(reserved.waiting))

    def _take(self, caller: _Caller) -> Called:
        self._settle(caller)
        self._open = caller.call
        caller.call.count(self._tally, Way.IN)
        seconds = asyncio.get_running_loop().time() - caller.began
        _log.info("port=%d caller=%s taken seconds=%.1f", self._kept().port, caller.address, seconds)
        provenance = Provenance(caller.stream.origin, "a call in", steps=(("wait", seconds),))
        return Called(caller.call, provenance, caller.address)

    def _give_up(self, caller: _Caller, *, gone: bool = False) -> None:
        """It is not answered. `gone`: nobody is there to be told."""
        if self._caller is not caller:
            return
        self._settle(caller)
        if gone:
            _log.info("port=%d caller=%s gave up", self._kept().port, caller.address)
            caller.call.drop()
        else:
            self._tell_busy(caller.stream, caller.address, caller.call)

    def _settle(self, caller: _Caller) -> None:
        self._caller = None
        if caller.waiting is not None and caller.waiting is not asyncio.current_task():
            caller.waiting.cancel()
        ringing, self._ringing = self._ringing, None
        if ringing is not None:
            ringing.ring_over()

    def _over(self) -> None:
        """The call that went on does not any more."""
        self._open = None

    def _tell_busy(self, stream: Stream, address: str, call: Call | None = None) -> None:
        """What a caller sees who is not answered. `call`: what may be reading its stream already."""
        _log.info("port=%d caller=%s turned away", self._kept().port, address)
        if len(self._goodbyes) >= limits.TURNED_AWAY:
            (stream.abort if call is None else call.drop)()
            return
        task = asyncio.get_running_loop().create_task(self._goodbye(stream, call or Call(stream)))
        self._goodbyes.add(task)
        task.add_done_callback(self._goodbyes.discard)

    async def _goodbye(self, stream: Stream, call: Call) -> None:
        reserved = self._kept()
        try:
            with suppress(BrokenOff, TimeoutError):
                async with asyncio.timeout(limits.STREAM_CLOSE_SECONDS):
                    await stream.send(_line(reserved.busy, reserved))
        finally:
            await call.close()


def _line(text: str, reserved: ReservedPort) -> bytes:
    """A line of the gateway's own to a caller."""
    return text.encode(reserved.charset, "replace") + (reserved.lines or LineEnd.CRLF).data
