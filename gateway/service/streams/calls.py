"""A session's wish for a stream -> an open call; and what is said and heard on one by lines."""

import asyncio
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Final

from adapters import limits
from adapters.errors import BrokenOff, NotPossible, TooSlow
from adapters.streams import Calling, Stream, StreamAdapter, Terminal
from gateway.catalogue.calling.targets import target_of
from gateway.catalogue.model import Catalogue
from gateway.service.adapters import Adapters
from gateway.service.streams.tally import Tally, Way
from gateway.session.wishes import Called, CallWish, Heard, Provenance, SayWish

_leaving: Final = set[asyncio.Task[None]]()  # calls that are being hung up


class Call:
    """One open stream, counted. `over` is told once that it is left or dropped."""

    def __init__(self, stream: Stream, over: Callable[[], None] = lambda: None) -> None:
        self.datagrams = stream.datagrams
        self.sent = self.heard = 0
        self._tally: Tally | None = None
        self._stream = stream
        self._over: Callable[[], None] | None = over
        self._ahead = bytearray()  # was heard before anybody asked
        self._hearing: asyncio.Task[bytes | None] | None = None
        self._left = False

    def facts(self) -> Sequence[tuple[str, str]]:
        """Bytes both ways, as they were on the far server's side."""
        return [("SENT", f"{self.sent} bytes"), ("HEARD", f"{self.heard} bytes")]

    def count(self, tally: Tally, way: Way) -> None:
        """It has begun, and is counted from now on."""
        self._tally = tally
        tally.begin(way)

    async def say(self, data: bytes) -> None:
        """Send; it waits for room. BrokenOff, TooLarge."""
        await self._stream.send(data)
        self.sent += len(data)
        if self._tally is not None:
            self._tally.sent += len(data)

    async def hear(self) -> bytes | None:
        """The next bytes, or None at the far server's end. BrokenOff. One that is cancelled loses nothing."""
        data: bytes | None = bytes(self._ahead)
        self._ahead.clear()
        data = data or await self._next()
        if data is None:
            return None
        self.heard += len(data)
        if self._tally is not None:
            self._tally.heard += len(data)
        return data + b"\n" * self.datagrams

    async def gone(self) -> None:
        """Wait until the far end has hung up, or the line broke; what it says is kept for `hear`."""
        with suppress(BrokenOff):
            while len(self._ahead) < limits.CHUNK_BYTES:
                data = await self._next()
                if data is None:
                    return
                self._ahead += data
            await asyncio.get_running_loop().create_future()  # behind so much an end is not seen

    async def _next(self) -> bytes | None:
        if self._hearing is None:
            self._hearing = asyncio.get_running_loop().create_task(self._stream.receive())
        data = await asyncio.shield(self._hearing)
        self._hearing = None
        return data

    async def exchange(self, data: bytes, seconds: float) -> Heard:
        """Send, then listen until the far server has said something and is quiet, or for a second."""
        if data:
            try:
                async with asyncio.timeout(seconds / 2):
                    await self.say(data)
            except TimeoutError as error:
                raise TooSlow("The far server takes no more") from error
        heard, patience = bytearray(), min(limits.STREAM_ANSWER_SECONDS, seconds / 4)
        while len(heard) < limits.STREAM_TEXT:
            try:
                async with asyncio.timeout(patience):
                    piece = await self.hear()
            except TimeoutError:
                break
            except BrokenOff:
                if not heard:
                    raise
                break  # it is told with the next line
            if piece is None:
                return Heard(bytes(heard), over=True)
            heard += piece
            patience = limits.STREAM_QUIET_SECONDS
        return Heard(bytes(heard), over=False)

    def leave(self) -> None:
        """Hang up when all that was said has gone; nobody waits for that, and `drop` has no effect then."""
        if not self._left:
            self._left = True
            self._is_over()
            task = asyncio.get_running_loop().create_task(self.close())
            _leaving.add(task)
            task.add_done_callback(_leaving.discard)

    def drop(self) -> None:
        """Hang up now."""
        if self._left:
            return
        if self._hearing is not None:
            self._hearing.cancel()
            self._hearing.add_done_callback(_forget)
            self._hearing = None
        self._stream.abort()
        self._is_over()

    def _is_over(self) -> None:
        over, self._over = self._over, None
        if over is not None:
            over()
            if self._tally is not None:
                self._tally.end()

    async def close(self) -> None:
        """As `leave`, and wait for it."""
        hearing, self._hearing = self._hearing, None
        try:
            if hearing is not None:
                hearing.cancel()
                hearing.add_done_callback(_forget)
                await asyncio.wait({hearing})
            await self._stream.aclose()
        finally:
            self._stream.abort()


def _forget(task: "asyncio.Task[bytes | None]") -> None:
    if not task.cancelled():
        task.exception()


class Calls:
    """Shared by all clients of one gateway."""

    def __init__(self, catalogue: Callable[[], Catalogue], adapters: Adapters) -> None:
        self._catalogue = catalogue
        self._adapters = adapters

    async def answer(self, wish: CallWish | SayWish, seconds: float) -> Called | Heard:
        """What was wished for within `seconds`, or a HeadraceError."""
        if isinstance(wish, SayWish):
            assert isinstance(wish.call, Call)
            return await wish.call.exchange(wish.data, seconds)
        target = target_of(self._catalogue(), wish.ref)
        adapter = self._adapters.of(target.url)
        if not isinstance(adapter, StreamAdapter):
            raise NotPossible("Streams are not possible there")
        url = target.url.rstrip("/")
        began = time.perf_counter()
        calling = Calling(url, target.ca, target.reach, Terminal(columns=wish.columns))
        async with self._adapters.breaker.trying(url):
            stream = await adapter.open(calling, seconds)
        steps = (("connect", time.perf_counter() - began),)
        return Called(Call(stream), Provenance(stream.origin, "stream", steps=steps))
