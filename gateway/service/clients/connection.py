"""One client's socket: bytes in, events through the session, reply lines out.

A worker task takes the events in order; all that is sent is sent by it, one thing after another.
"""

import asyncio
import logging
import time
from collections.abc import Callable
from typing import Final

from adapters import limits
from adapters.errors import GatewayFull, HeadraceError
from gateway.catalogue.model import Listener
from gateway.service.clients.client import House
from gateway.service.clients.granting import Fulfiller, Granting
from gateway.service.clients.resuming import Seat
from gateway.service.clients.seating import Seating
from gateway.service.clients.sending import Sender
from gateway.service.clients.turns import Turn
from gateway.service.streams.talking import Talking
from gateway.session.conversation import Session
from gateway.wire.lines import Cancel, Data, Event, Line, Pause
from gateway.wire.replies import Lines

_log = logging.getLogger(__name__)
_ENDS: Final = (b"\r", b"\n", b"\x9b")  # of a line that was echoed


class Connection(asyncio.Protocol):
    """One client, from its first byte to its last.

    `begin` makes the session for a client at that address. `seat`: where a lost line's session is kept.
    """

    _session: Session  # from `connection_made` on
    _sender: Sender

    def __init__(
        self,
        house: House,
        begin: Callable[[str], Session],
        fulfiller: Fulfiller,
        listener: Listener,
        seat: Seat | None = None,
    ) -> None:
        self._house = house
        self._begin = begin
        self._granting = Granting(fulfiller)
        self._listener = listener
        self._seating = Seating(self, seat, house.seat_of)
        self._parted = False  # from its session
        self._transport: asyncio.Transport | None = None
        self._worker: asyncio.Task[None] | None = None
        self._input = asyncio.Event()
        self._lost = asyncio.Event()
        self._at_end = False
        self._admitted = False
        self._busy = False
        self._abandon = False
        self._paused = False
        self._talking = Talking(self._choke, self._far_heard)
        self._goodbye = ""  # what it is to be told before the line closes
        self._leaving: asyncio.TimerHandle | None = None
        self.heard_at = asyncio.get_running_loop().time()
        self.peer = ""

    # What asyncio calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the client in, or tell it that there is no room."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        peer = transport.get_extra_info("peername")
        self.peer = str(peer[0]) if isinstance(peer, tuple) else ""
        self._session = self._begin(self.peer)
        reader = self._session.reader
        self._sender = Sender(self._house, reader, transport, lambda: self.heard_at, self._moved)
        self._goodbye = self._house.admit(self, self._listener)
        self._admitted = not self._goodbye
        if self._admitted or self._house.may_linger():
            self._worker = asyncio.get_running_loop().create_task(self._work())
        else:
            transport.write(b"".join(self._farewell()))
            transport.close()

    def data_received(self, data: bytes) -> None:
        """Bytes came."""
        self.heard_at = asyncio.get_running_loop().time()
        if self._leaving is not None or not self._admitted:
            return
        self._moved(len(data))
        if self._talking.takes(self._session, data):
            return
        reader = self._session.reader
        self._seating.feed(data, reader.pending)
        reader.feed(data)
        if self._busy and not self._abandon and reader.cancel_ahead():
            self._abandon = True
            self._granting.abandon()
            self._sender.abandon()
        if (
            reader.pending > limits.PIPELINE_BYTES
            and not self._seating.undecided
            and reader.settings.flow == "xon"
        ):
            reader.drop_flow()  # of a long reply, which may take more of it than may be pipelined
        if reader.pending > limits.PIPELINE_BYTES and not self._paused and self._transport is not None:
            self._paused = True
            self._transport.pause_reading()
            reader.release()  # what would let it go on again is not read either
        if reader.settings.flow == "xon":
            self._sender.hold(reader.held)
        self._input.set()

    def eof_received(self) -> bool:
        """The client sends no more, and still gets what it is owed."""
        self._at_end = True
        self._talking.finish()
        self._session.reader.release()
        self._sender.hold(False)
        self._input.set()
        return self._leaving is None

    def pause_writing(self) -> None:
        """The client reads more slowly than we write."""
        self._sender.pause()

    def resume_writing(self) -> None:
        """The client has read."""
        self._sender.resume()
        self._talking.room()

    def connection_lost(self, exc: Exception | None) -> None:
        """The line is gone."""
        self._transport = None
        self._part()
        self._lost.set()
        if self._leaving is not None:
            self._leaving.cancel()
        self._sender.end()
        self._house.dismiss(self)

    def _part(self) -> None:
        """Leave the session. Where a seat keeps it, the request being worked on goes on; the worker does
        nothing after that, since there is no line.
        """
        if self._parted:
            return
        self._parted = True
        kept = self._seating.held and self._granting.under_way
        unfinished = self._worker if kept and not self._session.unfinished else None
        if self._worker is not None and unfinished is None:
            self._worker.cancel()
        self._session.lost()
        self._seating.leave(unfinished, for_good=self._session.taken_leave)
        if not self._seating.keeps(self._session):
            self._session.gone()

    # What the server calls

    @property
    def seat(self) -> Seat | None:
        """Where its session is kept."""
        return self._seating.seat

    @property
    def waits_for_call(self) -> bool:
        """Whether it hears, which takes as long as it takes."""
        return self._session.hearing is not None

    @property
    def busy(self) -> bool:
        """Whether a reply is in flight."""
        return self._busy

    def turn_away(self, sentence: str) -> None:
        """421 and close; a reply in flight is finished first by the worker, which sees `stopping`."""
        if not self._busy and not self._goodbye:
            self._goodbye = sentence
            self._input.set()
            self._talking.end()

    def hurry(self) -> None:
        """There is no time for the rest of the reply in flight: it stops at a line end, as after CAN."""
        if self._busy:
            self._sender.abandon()

    def surrender(self) -> None:
        """The client is back on another line: leave it the session at once, and cut this line."""
        self._part()
        self.abort()

    def abort(self) -> None:
        """Cut the line now."""
        if self._transport is not None:
            self._transport.abort()

    async def gone(self) -> None:
        """Wait until the line is gone, all that was written with it."""
        await self._lost.wait()

    # The worker

    async def _work(self) -> None:
        try:
            await self._converse()
            self._session.lost()  # a transfer that never got its end, such as before a half-close
        except asyncio.CancelledError:
            if self._transport is not None and not self._transport.is_closing():
                self._transport.abort()
            raise
        except Exception:  # noqa: BLE001 one client's fault must not reach the others
            _log.exception("a connection failed")
            self.abort()
        else:
            self._leave()

    def _leave(self) -> None:
        """End our side, and let the client end its own: closing at once, with bytes of the client's still
        unread, would make TCP reset the line and could take the last reply with it.
        """
        if self._transport is None or self._leaving is not None:
            return
        self._sender.end()
        if self._at_end:
            self._close()
            return
        try:
            self._transport.write_eof()
        except OSError:  # the client was quicker
            self._close()
            return
        if self._paused:
            self._transport.resume_reading()
        self._leaving = asyncio.get_running_loop().call_later(limits.LINGER_SECONDS, self._close)

    def _close(self) -> None:
        """Let the line go with the last bytes, and without them if nobody reads those."""
        assert self._transport is not None  # whose end stops the clock that comes here
        self._transport.close()
        loop = asyncio.get_running_loop()
        self._leaving = loop.call_later(self._house.stall_seconds(), self.abort)

    async def _converse(self) -> None:
        turn = Turn()
        if self._admitted and self._listener.greeting:
            await self._send(self._session.greeting())
        while self._here and not self._session.closing:
            if self._goodbye:
                await self._send(self._farewell())
                return
            self._input.clear()
            if await self._called():
                continue
            event = self._session.reader.next_event()
            output = self._session.reader.take_output()
            if output:
                await self._send(iter((output,)), whole=output.endswith(_ENDS))
            event = await self._seated(event)
            if event is None:
                if not await self._waited():
                    return
                turn = Turn()
            elif isinstance(event, Cancel):
                lines = self._session.cancelled()
                if lines is not None:
                    await self._send(lines)
            elif not isinstance(event, Pause):
                await self._serve(event)
                await self._talk()
            await turn.over()

    async def _waited(self) -> bool:
        """All that came is dealt with: wait for more. False: there will be none."""
        if self._input.is_set():  # more came while the echo of what was there went out
            return True
        if self._at_end:
            return False
        if self._house.stopping:
            await self._refuse()
            return False
        await self._more_input()
        return True

    async def _seated(self, event: Event | None) -> Event | None:
        """The event; or the AGAIN with which this line goes on where another was."""
        session, event = await self._seating.event(self._session, event)
        if session is not self._session:
            self._session = session
            if self._at_end:
                session.reader.release()
            self._sender.reader = session.reader
        return event

    async def _more_input(self) -> None:
        """Wait for bytes; all that came is dealt with."""
        if self._paused and self._transport is not None:
            self._paused = False
            self._transport.resume_reading()
        await self._input.wait()

    async def _serve(self, event: Line | Data) -> None:
        """Answer one line, or take in data. A CAN that is behind a line already abandons it at once."""
        if self._house.stopping:
            await self._refuse()
            return
        if self._session.reader.cancel_ahead():
            return
        self._busy, self._abandon = True, False
        started = time.perf_counter()
        try:
            lines = await self._granting.reply(self._session, event, self._house.wait_seconds())
            if self._abandon:
                lines = None  # CAN may have come just before they were made
            if lines is not None:
                self._session.sent(True)
                await self._send(lines)
                self._house.answered(self._session.status_shown[:3])
        finally:
            self._busy = False
            self._session.sent(False)
            self.heard_at = asyncio.get_running_loop().time()
        if lines is not None and _log.isEnabledFor(logging.INFO):
            session = self._session
            shown = (self.peer, session.request_shown, session.status_shown, time.perf_counter() - started)
            _log.info("peer=%s request=%r reply=%r seconds=%.4f", *shown)

    async def _called(self) -> bool:
        """Where a call is waited for and has come, or none will: the reply that ends the wait."""
        hearing = self._session.hearing
        if hearing is None:
            return False
        hearing.far.wake = self._input.set
        try:
            called = hearing.far.taken()
        except HeadraceError as error:
            await self._send(self._session.failed(error))
            return True
        if called is None:
            return False
        await self._send(self._session.answered(called))
        await self._talk()
        return True

    async def _talk(self) -> None:
        """Where a raw stream was opened, the line is raw both ways until that is over."""
        if self._transport is None:
            return
        if self._house.stopping or self._goodbye:
            lines = self._talking.refuse(self._session)
        else:
            lines = await self._talking.run(self._session, self._sender, self._transport, self.peer)
        if lines is not None:
            self._far_heard()
            self._input.set()
            await self._send(lines)

    def _moved(self, count: int) -> None:
        """Bytes passed, either way."""
        self._house.moved(self._session.who.payer, count)

    def _choke(self, choked: bool) -> None:
        """Read no more of the client for now, or go on."""
        if self._transport is not None and choked != self._paused:
            self._paused = choked
            (self._transport.pause_reading if choked else self._transport.resume_reading)()

    def _far_heard(self) -> None:
        """A stream on which the far server talks is not idle."""
        self.heard_at = asyncio.get_running_loop().time()

    async def _refuse(self) -> None:
        self._goodbye = self._goodbye or "The gateway is going down"
        await self._send(self._farewell())

    def _farewell(self) -> Lines:
        return self._session.failed(GatewayFull(self._goodbye), close=True)

    @property
    def _here(self) -> bool:
        """Whether there is still a line to write to: neither gone nor told goodbye on."""
        return self._sender.open

    async def _send(self, lines: Lines, *, whole: bool = True) -> None:
        await self._sender.send(lines, whole)
