"""Fetched -> Sheet: small documents at once, if that takes little; others beside the loop, a few at once."""

import asyncio
from collections.abc import Callable
from functools import partial
from typing import TypeVar

from adapters import limits
from adapters.errors import HeadraceError, TooMuchWork
from adapters.port import Fetched
from gateway.extract.effort import Effort, with_effort
from gateway.extract.pipeline import extract
from gateway.extract.plan import Plan, Sheet, Style
from gateway.service.killable.parcels import Task
from gateway.service.killable.pool import Workers

Laid = TypeVar("Laid")


class Layouts:
    """Shared by all clients.

    What picks values out of documents can run away, and is done by processes that can be killed. What else
    takes long is done by threads: those cannot be stopped, so whoever waits gives up, and the thread keeps
    its turn to its end: more would only make all of them late.
    """

    def __init__(self) -> None:
        self._turns = asyncio.Semaphore(limits.LAYOUTS)
        self._workers = Workers()

    @property
    def stopped(self) -> int:
        """How many were."""
        return self._workers.stopped

    async def lay_out(self, fetched: Fetched, plan: Plan, style: Style, seconds: float) -> Sheet:
        """The sheet within `seconds`; HeadraceError (451) where the gateway, not the far server, is late.
        TooMuchWork where it was stopped.
        """
        if fetched.status in {204, 205}:
            return Sheet(plan.width, ())
        if len(fetched.body) <= limits.INLINE_BYTES:
            work = partial(extract, fetched.body, fetched.media_type, fetched.charset, plan, style)
            try:
                return with_effort(Effort(brief=True), work)
            except TooMuchWork:
                pass  # for this moment; it is done beside the others
        task = Task(fetched.body, fetched.media_type, fetched.charset, plan, style)
        return await self._workers.lay_out(task, seconds)

    async def beside(self, size: int, seconds: float, work: Callable[[], Laid]) -> Laid:
        """What `work` makes of a document of `size` bytes, in the same way."""
        if size <= limits.INLINE_BYTES:
            return work()
        try:
            async with asyncio.timeout(max(0.0, seconds)):
                await self._turns.acquire()
                try:
                    running = asyncio.get_running_loop().run_in_executor(None, work)
                except RuntimeError:  # no thread is left (pthread_create(3), EAGAIN)
                    self._turns.release()
                    raise
                running.add_done_callback(self._done)
                return await asyncio.shield(running)
        except TimeoutError as error:
            raise HeadraceError("The gateway is too busy for this now") from error

    async def aclose(self) -> None:
        """End the processes."""
        await self._workers.aclose()

    def _done(self, work: "asyncio.Future[Laid]") -> None:
        self._turns.release()
        work.exception()  # whoever gave up does not look at it any more; nobody cancels it
