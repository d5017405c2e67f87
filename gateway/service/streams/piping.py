"""a client's bytes <-> an open call, until one of them is done with it (CONTRACT section 3, TALK).

Each way waits for the other side: a client that reads slowly is not sent to, nor its far server read; a far
server that takes nothing is not sent to, nor its client read.
"""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError, TooLarge
from gateway.service.clients.sending import Sender
from gateway.service.streams.open_call import OpenCall
from gateway.streams.to_client import Translation
from gateway.streams.to_far import FromClient, ToFar
from gateway.wire.charsets import encode_text
from gateway.wire.escape import Escape
from gateway.wire.lines import XOFF, XON
from gateway.wire.settings import Settings

_log = logging.getLogger(__name__)
_SLICE: Final = 256  # bytes of far text handed over at a time, behind which a client can leave
_FLOW: Final = bytes((XON, XOFF))


class Ending(Enum):
    """Why it is over, in words for WHY."""

    FAR = "by the far end"
    CLIENT = "by you"
    BROKE = "the line broke"
    GATEWAY = "by the gateway"


@dataclass(frozen=True, slots=True)
class Ways:
    """What is made of the bytes on both ways; `to_far` is None where nothing is."""

    to_client: Translation
    to_far: ToFar | None
    settings: Settings


class Pipe:
    """One raw stream. `feed` takes what the client sends.

    `owed` is given what goes to the client at once, outside the stream; `choke` stops it from sending, or
    lets it go on; `heard` is told of each piece of far text. `rest` is what came behind the leaving, which
    are requests again.
    """

    def __init__(
        self,
        call: OpenCall,
        ways: Ways,
        sender: Sender,
        *,
        owed: Callable[[bytes], None],
        choke: Callable[[bool], None],
        heard: Callable[[], None],
    ) -> None:
        self.rest = b""
        self._call, self._ways, self._sender = call, ways, sender
        self._owed, self._choke, self._heard = owed, choke, heard
        self._loop = asyncio.get_running_loop()
        self._from_client = FromClient(ways.settings)
        plus = encode_text("+", ways.settings.printed)
        self._escape = Escape(self._loop.time(), plus)
        self._flow = ways.settings.flow == "xon"
        self._waiting = bytearray()  # for the far server
        self._choked = False
        self._owing = False  # what went to the client at once, and it did not take
        self._deaf = False  # the far server takes no more
        self._news = asyncio.Event()
        self._free = asyncio.Event()  # whether the client has not asked to wait
        self._free.set()
        self._over: asyncio.Future[Ending] = self._loop.create_future()
        self._timer: asyncio.TimerHandle | None = None
        self._finished = False
        self._last: asyncio.TimerHandle | None = None

    # What the client does

    def feed(self, data: bytes) -> None:
        """Bytes came."""
        now = self._loop.time()
        if self._over.done() or self._escape.at(now):
            self.end(Ending.CLIENT)
            if self._escape.left:
                self.rest += data
            return
        data = self._from_client.feed(data)
        if self._from_client.output:
            self._owed(bytes(self._from_client.output))
            self._from_client.output.clear()
            self._owing = not self._sender.writable
        if self._flow:
            data = self._without_flow(data)
        self._pass(self._escape.feed(data, now))
        self._watch()
        self._regulate()

    def room(self) -> None:
        """The client has read."""
        self._owing = False
        self._regulate()

    def _without_flow(self, data: bytes) -> bytes:
        asked = max(data.rfind(XON), data.rfind(XOFF))
        if asked >= 0:
            held = data[asked] == XOFF
            (self._free.clear if held else self._free.set)()
            self._sender.hold(held)
        return data.translate(None, _FLOW)

    def _pass(self, data: bytes) -> None:
        if not data or self._deaf:
            return
        to_far = self._ways.to_far
        self._waiting += data if to_far is None else to_far.feed(data)
        self._news.set()

    def _watch(self) -> None:
        """Look again when what is held back may have become the leaving, or is known to be none."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._escape.due is not None:
            self._timer = self._loop.call_at(self._escape.due, self._look)

    def _look(self) -> None:
        self._timer = None
        now = self._loop.time()
        if self._escape.at(now):
            self.end(Ending.CLIENT)
            return
        self._pass(self._escape.release(now))
        self._watch()
        self._regulate()

    def finish(self) -> None:
        """The client sends no more, and most often has dropped its line: the far server may still answer."""
        self._finished = True
        self._wait_for_the_last()

    def _wait_for_the_last(self) -> None:
        if self._last is not None:
            self._last.cancel()
        self._last = self._loop.call_later(limits.STREAM_CLOSE_SECONDS, self.end, Ending.CLIENT)

    def end(self, ending: Ending) -> None:
        """It is over, and what was not sent yet is dropped."""
        if not self._over.done():
            self._over.set_result(ending)
            self._sender.abandon()

    # The two ways

    async def run(self) -> Ending:
        """Until it is over; the call is closed then."""
        ways = [self._loop.create_task(each) for each in (self._to_far(), self._to_client())]
        for way in ways:
            way.add_done_callback(self._looked_at)
        ending = Ending.BROKE
        try:
            ending = await self._over
        finally:
            for timer in (self._timer, self._last):
                if timer is not None:
                    timer.cancel()
            for way in ways:
                way.cancel()
            await asyncio.gather(*ways, return_exceptions=True)
            if ending is Ending.CLIENT and not self._waiting:
                self._call.leave()
            else:
                self._call.drop()
        return ending

    def _looked_at(self, way: "asyncio.Task[None]") -> None:
        """A way that is no more. A fault of our own ends the stream: nobody would hear or say anything."""
        if not way.cancelled() and way.exception() is not None:
            _log.error("a stream failed", exc_info=way.exception())
            self._ended(Ending.BROKE)

    async def _to_far(self) -> None:
        try:
            while True:
                await self._news.wait()
                self._news.clear()
                while self._waiting:
                    data = self._take()
                    if data is None:
                        break
                    await self._say(data)
                self._regulate()
        except HeadraceError:
            self._deaf = True
            self._waiting.clear()
            self._regulate()
            if self._call.datagrams:
                self._ended(Ending.BROKE)
            # else whoever listens is told of it, behind all that it said before

    def _regulate(self) -> None:
        """Stop the client while there is no room for more of it, on either way."""
        choked = self._owing or len(self._waiting) > limits.PIPELINE_BYTES
        if choked != self._choked:
            self._choked = choked
            self._choke(choked)

    def _take(self) -> bytes | None:
        """What is to be sent next; of messages one, None where it has not ended yet."""
        if not self._call.datagrams:
            data = bytes(self._waiting[: limits.CHUNK_BYTES])
            del self._waiting[: len(data)]
            return data
        end = self._waiting.find(b"\n")
        if end < 0:
            return None
        data = bytes(self._waiting[:end])
        del self._waiting[: end + 1]
        return data

    async def _say(self, data: bytes) -> None:
        try:
            await self._call.say(data)
        except TooLarge:
            return  # a message that no server could get

    async def _to_client(self) -> None:
        translation = self._ways.to_client
        try:
            while (data := await self._call.hear()) is not None:
                self._heard()
                if self._finished:
                    self._wait_for_the_last()
                await self._show(translation.feed(data))
            await self._show(translation.finish())
        except HeadraceError:
            await self._show(translation.finish())
            self._ended(Ending.BROKE)
        else:
            self._ended(Ending.FAR)

    async def _show(self, data: bytes) -> None:
        for start in range(0, len(data), limits.CHUNK_BYTES):
            await self._free.wait()
            part = memoryview(data)[start : start + limits.CHUNK_BYTES]
            slices = (bytes(part[place : place + _SLICE]) for place in range(0, len(part), _SLICE))
            await self._sender.send(slices, whole=False)
            if self._over.done() or not self._sender.open:
                return

    def _ended(self, ending: Ending) -> None:
        if not self._over.done():
            self._over.set_result(ending)
