"""Coroutines -> results, from an event loop on a thread of its own, for tests that are plain functions."""

import asyncio
import threading
from collections.abc import Callable, Coroutine
from concurrent.futures import CancelledError, Future
from contextlib import suppress
from contextvars import ContextVar
from typing import Any, Final, TypeVar

from adapters import limits

Result = TypeVar("Result")

OWNER: Final[ContextVar["Background | None"]] = ContextVar("headrace_owner", default=None)
"""Whose loop the running code belongs to, in its tasks and callbacks and in threads made by to_thread."""


class StillRunning(Exception):
    """A thread did not end in time: what it was for."""


class Background:
    """A loop that runs until `stop`. `make_loop` makes it, on the thread; `name` is the thread's."""

    def __init__(
        self, name: str, make_loop: Callable[[], asyncio.AbstractEventLoop] = asyncio.new_event_loop
    ) -> None:
        self._make_loop = make_loop
        self._ended: asyncio.Event
        self._loop: asyncio.AbstractEventLoop
        self._ready: Future[None] = Future()
        self._thread = threading.Thread(target=self._work, name=name, daemon=True)
        self._thread.start()
        self._ready.result()

    def _work(self) -> None:
        try:
            with asyncio.Runner(loop_factory=self._make_loop) as runner:
                runner.run(self._until_stopped())
        except BaseException as error:
            if self._ready.done():
                raise
            self._ready.set_exception(error)

    async def _until_stopped(self) -> None:
        OWNER.set(self)
        self._loop, self._ended = asyncio.get_running_loop(), asyncio.Event()
        self._ready.set_result(None)
        await self._ended.wait()

    def run(self, coroutine: Coroutine[Any, Any, Result], seconds: float) -> Result:
        """Its result or its exception. StillRunning after `seconds`: it is cancelled then."""
        told: Future[Result] = asyncio.run_coroutine_threadsafe(self._owned(coroutine), self._loop)
        try:
            return told.result(seconds)
        except TimeoutError as error:
            if told.done() and not told.cancelled():
                raise  # its own
            told.cancel()
            raise StillRunning(f"{self._thread.name} took longer than {seconds:g} s") from error
        except CancelledError as error:
            raise StillRunning(f"{self._thread.name} ended") from error

    async def _owned(self, coroutine: Coroutine[Any, Any, Result]) -> Result:
        OWNER.set(self)
        return await coroutine

    def stop(self) -> None:
        """Cancel what still runs, close the loop and wait for the thread. StillRunning where it stays."""
        with suppress(RuntimeError):  # it has ended already, or just now: its loop is closed
            self._loop.call_soon_threadsafe(self._ended.set)
        self._thread.join(limits.TESTING_STOP_SECONDS)
        if self._thread.is_alive():
            raise StillRunning(f"{self._thread.name} did not end")
