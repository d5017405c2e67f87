"""a counter's steps <-> an open call: what is said to it and heard from it, and its wishes granted.

It is carried as a far server's stream is. Nothing is said ahead: what a slow line has not taken waits, and
the counter with it.
"""

import asyncio
import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Final

from adapters import limits
from adapters.errors import BrokenOff, HeadraceError
from gateway.service.clients.granting import Fulfiller, failure, forget, let_go, tell, with_margin
from gateway.service.streams.tally import Tally, Way
from gateway.session.counter.steps import Came, Listen, Said, Say, Talk
from gateway.session.state import without_secrets
from gateway.session.wishes import (
    Granted,
    ListWish,
    ReadWish,
    StageWish,
    TextWish,
    Wish,
    time_is_up,
)
from gateway.wire.lines import CAN

_log = logging.getLogger(__name__)
_ending: Final = set[asyncio.Task[None]]()  # counters that were dropped and are letting go


class CounterCall:
    """One client's, counted as a stream's bytes are: `sent` are what it said. `seconds` are for each wish."""

    datagrams = False

    def __init__(self, steps: Talk[None], fulfiller: Fulfiller, seconds: float, place: str) -> None:
        self.sent = self.heard = 0
        self._tally: Tally | None = None
        self._steps, self._fulfiller, self._seconds, self._place = steps, fulfiller, seconds, place
        self._loop = asyncio.get_running_loop()
        self._came = bytearray()  # said by the client, and not listened to
        self._out = bytearray()  # said to it, and not taken
        self._taken = True  # whether what was handed over has gone on to the line
        self._over = self._broken = False
        self._moved = asyncio.Event()
        self._task = self._loop.create_task(self._run())

    def facts(self) -> Sequence[tuple[str, str]]:
        """Bytes both ways."""
        return [("SENT", f"{self.sent} bytes"), ("HEARD", f"{self.heard} bytes")]

    # What carries it

    def count(self, tally: Tally, way: Way) -> None:
        """It has begun, and is counted from now on."""
        self._tally = tally
        tally.begin(way)
        self._task.add_done_callback(lambda _: tally.end())  # also where it ends before it has begun

    async def say(self, data: bytes) -> None:
        """The client says something; it waits for room. BrokenOff where nobody listens any more."""
        await self._until(lambda: self._over or len(self._came) < limits.PIPELINE_BYTES)
        if self._over:
            raise BrokenOff("The counter is closed")
        self._came += data
        self.sent += len(data)
        if self._tally is not None:
            self._tally.sent += len(data)
        self._moved.set()

    async def hear(self) -> bytes | None:
        """What the client is told next, or None at the end. BrokenOff where the counter failed."""
        self._taken = True
        self._moved.set()
        await self._until(lambda: self._over or len(self._out) > 0)
        data = bytes(self._out[: limits.CHUNK_BYTES])
        del self._out[: len(data)]
        if data:
            self._taken = False
            self.heard += len(data)
            if self._tally is not None:
                self._tally.heard += len(data)
            return data
        if self._broken:
            raise BrokenOff("The counter failed")
        return None

    def leave(self) -> None:
        """The client has left: what it had begun is given up."""
        self.drop()

    def drop(self) -> None:
        """End it now."""
        if not self._task.done():
            _ending.add(self._task)
            self._task.add_done_callback(_ending.discard)
            self._task.cancel()

    # The counter

    async def _run(self) -> None:
        steps = self._steps
        try:
            want = next(steps)
            while True:
                try:
                    got = await self._given(want)
                except HeadraceError as error:
                    want = steps.throw(error)
                else:
                    want = steps.send(got)
        except StopIteration:
            pass
        except Exception:  # noqa: BLE001 one client's fault must not reach the others
            _log.exception("the counter of %s failed", self._place)
            self._broken = True
        finally:
            steps.close()
            self._over = True
            self._came.clear()
            self._moved.set()

    async def _until(self, ready: Callable[[], bool]) -> None:
        while not ready():
            self._moved.clear()
            await self._moved.wait()

    async def _given(self, want: Wish | Say | Listen) -> Granted | Said | Came:
        if isinstance(want, Say):
            return await self._said(want.data)
        if isinstance(want, Listen):
            return await self._listened(want.until)
        granted = self._fulfiller.now(want)
        return await self._grant(want) if granted is None else granted

    async def _said(self, data: bytes) -> Said:
        """Until the line asks for more, which it does when it has taken this."""
        self._out += data
        self._moved.set()
        await self._until(lambda: not self._out and self._taken)
        return Said(self._loop.time(), CAN in self._came)

    async def _listened(self, until: float | None) -> Came:
        if not self._came and (until is None or until > self._loop.time()):
            with suppress(TimeoutError):
                async with asyncio.timeout_at(until):
                    await self._until(lambda: len(self._came) > 0)
        data = bytes(self._came)
        self._came.clear()
        self._moved.set()
        return Came(data, self._loop.time())

    async def _grant(self, wish: Wish) -> Granted:
        request = self._loop.create_task(self._fulfiller.answer(wish, with_margin(self._seconds)))
        try:
            async with asyncio.timeout(self._seconds):
                return await request
        except TimeoutError as error:
            let_go(request)
            raise time_is_up(wish) from error
        except asyncio.CancelledError:
            let_go(request)
            raise
        except HeadraceError as error:
            tell(_shown(wish, self._place), error)
            raise
        except Exception as error:
            _log.exception("the counter of %s failed", self._place)
            raise failure(wish, error) from error
        finally:
            forget(wish)


def _shown(wish: Wish, place: str) -> str:
    """What is asked for, for the log."""
    if isinstance(wish, ListWish | ReadWish | TextWish | StageWish):
        return f"{without_secrets(wish.ref.whole)} at its counter"
    return f"the counter of {place}"
