"""One client's socket: bytes in, events through the session, reply lines out.

A worker task takes the events in order. What a warm cache can answer is answered without a further task.
"""

import asyncio
import logging
import socket
import time
from collections.abc import Generator, Iterable
from contextlib import suppress
from typing import Final, Protocol

from adapters import limits
from adapters.errors import GatewayFull, HeadraceError, MayBeDone
from gateway.session.conversation import Lines, Session
from gateway.session.wishes import Granted, Staged, Wish, time_is_up
from gateway.wire.lines import Cancel, Data, Line, Pause

_log = logging.getLogger(__name__)
_SLICE: Final = 8_192  # bytes of a reply handed to the socket at a time


class Fulfiller(Protocol):
    """What grants a session's wishes (see `answers.Answers`)."""

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting, or None; a HeadraceError where that is certain already."""
        ...

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """What was wished for within `seconds`, or a HeadraceError."""
        ...


class House(Protocol):
    """What a connection needs of the server it belongs to."""

    stopping: bool

    def admit(self, connection: "Connection") -> bool:
        """Whether there is room; an admitted connection is counted until it is dismissed."""
        ...

    def dismiss(self, connection: "Connection") -> None:
        """The connection is gone."""
        ...

    def may_linger(self) -> bool:
        """Whether a client that was turned away may take its time to hang up."""
        ...

    def wait_seconds(self) -> float:
        """Within how long a request is answered."""
        ...

    def stall_seconds(self) -> float:
        """How long a client may read nothing of a reply."""
        ...


class Connection(asyncio.Protocol):
    """One client, from its first byte to its last."""

    def __init__(self, house: House, session: Session, fulfiller: Fulfiller, greets: bool) -> None:
        self._house = house
        self._session = session
        self._fulfiller = fulfiller
        self._greets = greets
        self._transport: asyncio.Transport | None = None
        self._worker: asyncio.Task[None] | None = None
        self._request: asyncio.Task[Granted] | None = None
        self._input = asyncio.Event()
        self._lost = asyncio.Event()
        self._writable = asyncio.Event()
        self._writable.set()
        self._at_end = False
        self._busy = False
        self._abandon = False
        self._paused = False
        self._leaving: asyncio.TimerHandle | None = None
        self._sent = 0
        self._waited = 0.0
        self._judged = False  # whether it reads quickly
        self._slice = _SLICE
        self.heard_at = asyncio.get_running_loop().time()
        self.peer = ""

    # What asyncio calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the client in, or tell it that there is no room."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        transport.set_write_buffer_limits(high=limits.WRITE_BUFFER_BYTES)
        peer = transport.get_extra_info("peername")
        self.peer = str(peer[0]) if isinstance(peer, tuple) else ""
        if not self._house.admit(self):
            self._write(self._session.failed(GatewayFull("The gateway is full; try again later"), close=True))
            self._leave()
            return
        if self._greets:
            self._write(self._session.greeting())
        self._worker = asyncio.get_running_loop().create_task(self._work())

    def data_received(self, data: bytes) -> None:
        """Bytes came."""
        self.heard_at = asyncio.get_running_loop().time()
        if self._leaving is not None:
            return
        reader = self._session.reader
        reader.feed(data)
        if self._busy and not self._abandon and reader.cancel_ahead():
            self._abandon = True
            if self._request is not None:
                self._request.cancel()
        if reader.pending > limits.PIPELINE_BYTES and not self._paused and self._transport is not None:
            self._paused = True
            self._transport.pause_reading()
        self._input.set()

    def eof_received(self) -> bool:
        """The client sends no more, and still gets what it is owed."""
        self._at_end = True
        self._input.set()
        return self._leaving is None

    def pause_writing(self) -> None:
        """The client reads more slowly than we write."""
        self._writable.clear()

    def resume_writing(self) -> None:
        """The client has read."""
        self._writable.set()

    def connection_lost(self, exc: Exception | None) -> None:
        """The line is gone."""
        self._transport = None
        self._session.lost()
        self._lost.set()
        if self._leaving is not None:
            self._leaving.cancel()
        self._writable.set()
        if self._worker is not None:
            self._worker.cancel()
        self._house.dismiss(self)

    # What the server calls

    @property
    def busy(self) -> bool:
        """Whether a reply is in flight."""
        return self._busy

    def turn_away(self, sentence: str) -> None:
        """421 and close; a reply in flight is finished first by the worker, which sees `stopping`."""
        if self._busy or self._transport is None or self._leaving is not None:
            return
        self._write(self._session.failed(GatewayFull(sentence), close=True))
        self._leave()
        self._input.set()

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
        if self._at_end or not (self._worker or self._house.may_linger()):
            self._transport.close()
            return
        try:
            self._transport.write_eof()
        except OSError:  # the client was quicker
            self._transport.close()
            return
        if self._paused:
            self._transport.resume_reading()
        self._leaving = asyncio.get_running_loop().call_later(limits.LINGER_SECONDS, self._close)

    def _close(self) -> None:
        if self._transport is not None:
            self._transport.close()

    async def _converse(self) -> None:
        reader, turn = self._session.reader, _Turn()
        while self._here and not self._session.closing:
            event = reader.next_event()
            output = reader.take_output()
            if output:
                await self._send(iter((output,)))
            if event is None:
                if self._at_end:
                    return
                if self._house.stopping:
                    await self._refuse()
                    return
                await self._more_input()
                turn = _Turn()
            elif isinstance(event, Cancel):
                lines = self._session.cancelled()
                if lines is not None:
                    await self._send(lines)
            elif not isinstance(event, Pause):
                await self._serve(event)
            await turn.over()

    async def _more_input(self) -> None:
        """Wait for bytes; all that came is dealt with."""
        if self._paused and self._transport is not None:
            self._paused = False
            self._transport.resume_reading()
        self._input.clear()
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
            lines = await self._reply(self._session.respond(event))
            if lines is not None:
                await self._send(lines)
        finally:
            self._busy = False
            self.heard_at = asyncio.get_running_loop().time()
        if lines is not None and _log.isEnabledFor(logging.INFO):
            session = self._session
            shown = (self.peer, session.request_shown, session.status_shown, time.perf_counter() - started)
            _log.info("peer=%s request=%r reply=%r seconds=%.4f", *shown)

    async def _refuse(self) -> None:
        await self._send(self._session.failed(GatewayFull("The gateway is going down"), close=True))

    async def _reply(self, steps: Generator[Wish, Granted, Lines | None]) -> Lines | None:
        """Run one line's steps to its reply; whatever goes wrong, there is one."""
        deadline = asyncio.get_running_loop().time() + self._house.wait_seconds()
        try:
            wish = next(steps)
            while True:
                try:
                    granted = self._fulfiller.now(wish) or await self._grant(wish, deadline)
                except HeadraceError as error:
                    _log.info("request=%r code=%s", self._session.request_shown, error.code, exc_info=error)
                    wish = steps.throw(error)
                    continue
                except Exception as error:  # noqa: BLE001 the session tells it when it is time to
                    _log.exception("request=%r failed", self._session.request_shown)
                    wish = steps.throw(failure(wish, error))
                    continue
                if granted is None:  # abandoned by CAN: no reply
                    steps.close()
                    self._session.abandoned()
                    return None
                wish = steps.send(granted)
        except StopIteration as stop:
            lines: Lines | None = stop.value
            return lines
        except Exception:  # noqa: BLE001 every request is answered, whatever failed
            _log.exception("request=%r failed", self._session.request_shown)
            return self._session.failed(HeadraceError())

    async def _grant(self, wish: Wish, deadline: float) -> Granted | None:
        """What was wished for; None where CAN abandoned the request meanwhile."""
        seconds = deadline - asyncio.get_running_loop().time()
        seconds -= min(limits.ANSWER_MARGIN_SECONDS, seconds / 10)
        self._request = asyncio.get_running_loop().create_task(self._fulfiller.answer(wish, seconds))
        try:
            async with asyncio.timeout_at(deadline):
                return await self._request
        except TimeoutError as error:
            _let_go(self._request)
            raise time_is_up(wish) from error
        except asyncio.CancelledError:
            _let_go(self._request)
            if self._abandon and not _being_cancelled():
                return None
            raise
        finally:
            self._request = None

    async def _send(self, lines: Lines) -> None:
        """Write in slices; CAN stops at a line end, a client that reads nothing is cut off."""
        part: list[bytes] = []
        size, turn = 0, _Turn()
        for line in lines:
            part.append(line)
            size += len(line)
            if size >= self._slice:
                self._write(part)
                part, size = [], 0
                await self._drained()
                await turn.over()
                if self._abandon or not self._here:
                    return
        self._write(part)
        await self._drained()

    @property
    def _here(self) -> bool:
        """Whether there is still a line to write to: neither gone nor told goodbye on."""
        return self._transport is not None and not self._transport.is_closing() and self._leaving is None

    def _write(self, lines: Iterable[bytes]) -> None:
        if self._transport is not None and self._here:
            data = b"".join(lines)
            self._sent += len(data)
            self._transport.write(data)

    async def _drained(self) -> None:
        if self._writable.is_set():
            return
        began = time.perf_counter()
        try:
            async with asyncio.timeout(self._house.stall_seconds()):
                await self._writable.wait()
        except TimeoutError:
            _log.info("peer=%s read nothing for too long", self.peer)
            self.abort()
        self._waited += time.perf_counter() - began
        if self._sent >= limits.FAST_BYTES and not self._judged:
            self._judged = True
            if self._waited * limits.FAST_BYTES_PER_SECOND < self._sent and self._transport is not None:
                self._slice = limits.CHUNK_BYTES
                quicken(self._transport)


def quicken(transport: asyncio.Transport) -> None:
    """A client that reads quickly gets buffers to match; small ones would make it wait for each refill."""
    transport.set_write_buffer_limits(high=limits.FAST_BUFFER_BYTES)
    connection = transport.get_extra_info("socket")
    if connection is not None:
        with suppress(OSError):  # it is only slower
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, limits.FAST_BUFFER_BYTES)


def failure(wish: Wish, error: Exception) -> HeadraceError:
    """What the client is told of a fault of our own; a wish that changes something may have been granted."""
    told = time_is_up(wish) if isinstance(time_is_up(wish), MayBeDone) else HeadraceError()
    told.__cause__ = error
    return told


def _let_go(request: "asyncio.Task[Granted]") -> None:
    """Nobody waits for this any more: what it began to take in is dropped."""
    if not request.cancel() and not request.cancelled() and request.exception() is None:
        granted = request.result()
        if isinstance(granted, Staged):
            granted.staging.drop()


def _being_cancelled() -> bool:
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0


class _Turn:
    """A client's share of the loop: `over` lets the others in when it has lasted long enough."""

    def __init__(self) -> None:
        self._began = time.perf_counter()

    async def over(self) -> None:
        """Give way if it is time."""
        if time.perf_counter() - self._began >= limits.TURN_SECONDS:
            await asyncio.sleep(0)
            self._began = time.perf_counter()
