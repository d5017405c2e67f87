"""Blocking work -> awaited with a deadline, in threads of its own, its OSErrors translated.

A disk that hangs cannot be hurried: work that has begun goes on in its thread after its time is up. So
whoever owns a descriptor closes it behind a lock (`Temporary`, `Document`), never under a running call.
"""

import asyncio
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from contextlib import suppress
from typing import TypeVar

from adapters import limits
from adapters.errors import HeadraceError, MayBeDone, TooSlow
from adapters.local.faults import fault_of

T = TypeVar("T")


class Deadline:
    """When an operation has to be over; begins to run when it is made."""

    def __init__(self, seconds: float) -> None:
        self._ends = time.monotonic() + seconds
        if seconds <= 0:
            raise TooSlow

    def left(self) -> float:
        """Seconds that the next step may take; TooSlow where none are left."""
        left = self._ends - time.monotonic()
        if left <= 0:
            raise TooSlow
        return min(left, limits.STALL_SECONDS)

    async def pieces(self, source: AsyncIterator[bytes]) -> AsyncGenerator[bytes, None]:
        """What the source gives, gathered into pieces worth a thread's while; TooSlow where it stalls."""
        gathered = bytearray()
        try:
            while (chunk := await self._next(source)) is not None:
                gathered += chunk
                if len(gathered) >= limits.CHUNK_BYTES:
                    yield bytes(gathered)
                    gathered.clear()
            if gathered:
                yield bytes(gathered)
        finally:
            if isinstance(source, AsyncGenerator):
                await source.aclose()

    async def _next(self, source: AsyncIterator[bytes]) -> bytes | None:
        try:
            async with asyncio.timeout(self.left()) as scope:
                return await anext(source, None)
        except TimeoutError as error:
            if scope.expired():
                raise TooSlow from error
            raise


class Threads:
    """A few threads; made when first needed, gone with `close`, and made again after that."""

    def __init__(self) -> None:
        self._pool: ThreadPoolExecutor | None = None

    async def do(
        self,
        work: Callable[[], T],
        seconds: float,
        *,
        changes: bool = False,
        unwanted: Callable[[T], None] | None = None,
        surely: bool = False,
    ) -> T:
        """The work's result within `seconds`, else TooSlow; MayBeDone if it has begun and `changes`
        something. `unwanted` gets a result that comes too late, in the work's thread. `surely`: it is done
        in any case, even if nobody waits for it.
        """
        if self._pool is None:
            self._pool = ThreadPoolExecutor(limits.DISK_THREADS, thread_name_prefix="local-files")
        wanted = [work]
        try:
            future = self._pool.submit(_first_of, wanted)
        except RuntimeError:  # no thread is left (pthread_create(3), EAGAIN)
            wanted.clear()  # the pool has it in its queue all the same, and its next thread would do it
            if surely:
                return _translated(work)
            raise
        waiting = asyncio.wrap_future(future)
        done: set[asyncio.Future[T]] = set()
        try:
            done, _ = await asyncio.wait({waiting}, timeout=seconds)
        finally:
            if not done:
                waiting.add_done_callback(_forget)
                begun = surely or not future.cancel()
                if unwanted is not None:
                    future.add_done_callback(_passing(unwanted))
        if done:
            return waiting.result()
        raise MayBeDone if begun and changes else TooSlow

    def close(self) -> None:
        """Wait for nothing: what has begun ends by itself."""
        if self._pool is not None:
            self._pool.shutdown(wait=False)
            self._pool = None


def _first_of(wanted: list[Callable[[], T]]) -> T:
    """What is wanted still, if it is."""
    if not wanted:
        raise TooSlow
    return _translated(wanted[0])


def _translated(work: Callable[[], T]) -> T:
    try:
        return work()
    except OSError as error:
        raise fault_of(error) from error


def _forget(waiting: "asyncio.Future[T]") -> None:
    if not waiting.cancelled():
        waiting.exception()  # or asyncio would log that nobody looked at it


def _passing(unwanted: Callable[[T], None]) -> "Callable[[Future[T]], None]":
    def passed(future: "Future[T]") -> None:
        with suppress(HeadraceError, CancelledError):
            unwanted(future.result())

    return passed
