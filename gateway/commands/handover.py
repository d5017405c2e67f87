"""A gateway that is to let another go on -> that one lets clients in; who is here stays until they leave."""

import asyncio
import logging
import os
import signal
from collections.abc import Coroutine, Mapping
from contextlib import suppress
from typing import Any, Final

from adapters import limits
from gateway.commands import wiring
from gateway.service.running.following import FREE, READY, STOP, USED, Tether, command, follow, reap, tether
from gateway.service.running.inheriting import METRICS, Inherited, Spot
from gateway.service.running.manager import Manager
from gateway.service.running.page import LOOPBACK, Page
from gateway.service.server import Server

_log = logging.getLogger(__name__)
_LOOK: Final = 1.0  # seconds between looks at who is still here


class Handover:
    """What one `headrace serve` has to do with the one before it and the one that follows. `ended` is set
    where this one has nothing more to do.
    """

    def __init__(
        self,
        given: Inherited,
        manager: Manager,
        *,
        parts: wiring.Parts,
        server: Server,
        page: Page,
        ended: asyncio.Event,
    ) -> None:
        self._given, self._manager, self._parts = given, manager, parts
        self._server, self._page, self._ended = server, page, ended
        self._before: Tether | None = None
        self._after: Tether | None = None
        self._tasks: list[asyncio.Task[None]] = []

    @property
    def followed(self) -> bool:
        """Whether another lets clients in."""
        return self._after is not None

    # The one before

    async def take_over(self) -> None:
        """This one listens: the one before may stop."""
        if self._given.tether is not None:
            self._before = await tether(self._given.tether)
            self._before.say(READY)
            self._begin(self._hear_before(self._before))
        self._given.close(calls=self._before is None)

    async def _hear_before(self, before: Tether) -> None:
        while (message := await before.heard()) is not None:
            word, value = message
            if word == FREE:
                await self._server.port_freed(value)
            else:  # USED
                self._parts.accounts.add(value)
        self._before = None
        await before.aclose()
        await self._server.port_freed(None)
        self._given.close()
        _log.warning("the gateway before this one has ended")

    # The one that follows

    async def pass_on(self) -> None:
        """Start it; where it does not come up, nothing has changed."""
        if self._after is not None:
            _log.error("another one follows already: process %d is no longer the one to ask", os.getpid())
            return
        await self._parts.save_accounts()
        self._parts.accounts.used()
        try:
            process, line = follow(command(), self._spots, self._manager.variables)
        except OSError as error:
            _log.error("the program cannot be started anew: %s; this one goes on", error.strerror)
            return
        after = await tether(line)
        if not await is_ready(after):
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
            reap(process)
            await after.aclose()
            _log.error("the one that was to follow did not come up; this one goes on")
            return
        self._after = after
        self._manager.say(mainpid=process)
        await self._page.stop()
        await self._server.follow_on()
        _log.warning("process %d lets clients in; %d clients are still here", process, self._server.clients)
        self._begin(self._hear_after(after, process))
        self._begin(self._linger(after))

    @property
    def _spots(self) -> Mapping[Spot, list[int]]:
        page = self._page.sockets
        return {**self._server.sockets, **({(LOOPBACK, 0, METRICS): page} if page else {})}

    async def _hear_after(self, after: Tether, process: int) -> None:
        while (message := await after.heard()) is not None:
            if message[0] == STOP:
                self._ended.set()
        reap(process)
        if not self._ended.is_set():
            _log.error("process %d has ended, and nobody lets clients in; those here stay", process)

    async def _linger(self, after: Tether) -> None:
        """Until the last client has left, and what was begun for them is done."""
        loop = asyncio.get_running_loop()
        told_at = loop.time()
        while not self._server.deserted or self._parts.at_work:
            for number in await self._server.free_ports():
                after.say(FREE, number)
            if loop.time() >= told_at + limits.ACCOUNTS_SAVED_SECONDS:
                told_at = loop.time()
                after.say(USED, self._parts.accounts.used())
            await asyncio.sleep(_LOOK)
        self._ended.set()

    # The end

    def stopping(self) -> None:
        """This one goes down, and the one before it does so too, if it is still there."""
        if self._before is not None:
            self._before.say(STOP)

    async def stop(self, seconds: float) -> None:
        """Nothing happens here any more: tell the one that follows what is left to tell, and wait so long for
        the one before.
        """
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        if self._after is not None:
            self._after.say(USED, self._parts.accounts.used())
            await self._after.aclose()
        if self._before is not None:
            await self._before.gone(seconds)
            await self._before.aclose()

    def _begin(self, work: Coroutine[Any, Any, None]) -> None:
        self._tasks.append(asyncio.get_running_loop().create_task(work))


async def is_ready(after: Tether) -> bool:
    """Whether the one that follows says so, within limits.FOLLOW_SECONDS."""
    try:
        async with asyncio.timeout(limits.FOLLOW_SECONDS):
            message = await after.heard()
    except TimeoutError:
        return False
    return message is not None and message[0] == READY
