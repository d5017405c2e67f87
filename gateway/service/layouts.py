"""Fetched -> Sheet: small documents at once, large ones beside the loop, a few at a time."""

import asyncio

from adapters import limits
from adapters.errors import HeadraceError
from adapters.port import Fetched
from gateway.extract.pipeline import extract
from gateway.extract.plan import Plan, Sheet, Style


class Layouts:
    """Shared by all clients. A thread cannot be stopped, so whoever waits gives up, and the thread keeps its
    turn to its end: more would only make all of them late.
    """

    def __init__(self) -> None:
        self._turns = asyncio.Semaphore(limits.LAYOUTS)

    async def lay_out(self, fetched: Fetched, plan: Plan, style: Style, seconds: float) -> Sheet:
        """The sheet within `seconds`; HeadraceError (451) where the gateway, not the far server, is late."""
        if fetched.status in {204, 205}:
            return Sheet(plan.width, ())
        if len(fetched.body) <= limits.INLINE_BYTES:
            return extract(fetched.body, fetched.media_type, fetched.charset, plan, style)
        try:
            async with asyncio.timeout(max(0.0, seconds)):
                await self._turns.acquire()
                work = asyncio.get_running_loop().run_in_executor(
                    None, extract, fetched.body, fetched.media_type, fetched.charset, plan, style
                )
                work.add_done_callback(self._done)
                return await asyncio.shield(work)
        except TimeoutError as error:
            raise HeadraceError("The gateway is too busy for this now") from error

    def _done(self, work: "asyncio.Future[Sheet]") -> None:
        self._turns.release()
        if not work.cancelled():
            work.exception()  # whoever gave up does not look at it any more
