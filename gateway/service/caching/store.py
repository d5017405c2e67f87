"""(key, Copy) <-> one SQLite file: the cache's copies on disk, beside the event loop and never in its way.

One thread owns the file. Nothing here raises towards a client: while the disk is full, locked, slow or
gone, the store answers that it has nothing, says so in the log and tries again after a pause. Rows that
could not be changed meanwhile are deleted as the first thing afterwards.
"""

import asyncio
import logging
import sqlite3
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from adapters import limits
from gateway.service.caching.freshness import Copy
from gateway.service.caching.storefile import StoreFile

_log = logging.getLogger(__name__)

T = TypeVar("T")


class Store:
    """Copies under their keys. All methods are called on the event loop's thread and return at once or
    await; `folder` is made if it is not there. `limit_bytes` is what all copies may take up together.
    """

    def __init__(self, folder: Path, limit_bytes: int = limits.STORE_BYTES) -> None:
        self._file = StoreFile(folder, limit_bytes)
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="cache-store")
        self._closed = False
        self._lock = threading.Lock()
        self._waiting = 0  # bytes of bodies not written yet
        self._resumes = 0.0  # when the disk is tried again, on the monotonic clock
        self._doubts: set[str] = set()  # keys, or their beginnings, whose rows are out of date

    async def open(self) -> bool:
        """Open the file now rather than when it is first needed; False if that failed, as the log says."""
        return await self._awaited(lambda file: file.ready(), False)

    async def load(self, key: str, seconds: float = limits.STORE_LOAD_SECONDS) -> Copy | None:
        """The copy under `key`, or None: not there, not readable, or not within `seconds`."""
        if self._closed or time.monotonic() < self._resumes:
            return None
        loop = asyncio.get_running_loop()
        waiting: asyncio.Future[Copy | None] = loop.run_in_executor(
            self._thread, lambda: self._attempt(lambda file: file.load(key), None)
        )
        try:
            done, _ = await asyncio.wait((waiting,), timeout=seconds)
        finally:
            waiting.cancel()
        if done:
            return waiting.result()
        self._pause("the disk is slow")
        return None

    def save(self, key: str, copy: Copy) -> None:
        """Write the copy soon, in place of an older one; skipped when too much waits already."""
        size = len(copy.fetched.body)
        with self._lock:
            room = self._waiting + size <= limits.STORE_BACKLOG_BYTES
            self._waiting += size if room else 0
        if not room:
            _log.warning("the disk is slow: a copy was not written", extra={"bytes": size})
            self.forget(key)
            return

        def write() -> None:
            try:
                if not self._attempt(lambda file: file.save(key, copy), False):
                    self._doubt(key)
            finally:
                with self._lock:
                    self._waiting -= size

        self._submit(write)

    def forget(self, prefix: str) -> None:
        """Delete soon every copy whose key is `prefix` or begins with it."""

        def delete() -> None:
            if not self._attempt(lambda file: file.forget((prefix,)), False):
                self._doubt(prefix)

        self._submit(delete)

    async def flush(self) -> None:
        """Wait until all that was said before is on disk, or has failed."""
        await self._awaited(lambda _: True, False)

    async def aclose(self) -> None:
        """Finish writing, within limits.STORE_CLOSE_SECONDS, and close the file. A second time: nothing."""
        if self._closed:
            return
        self._closed = True
        closing = asyncio.get_running_loop().run_in_executor(self._thread, self._file.close)
        done, _ = await asyncio.wait((closing,), timeout=limits.STORE_CLOSE_SECONDS)
        if not done:
            _log.warning("the disk is slow: copies may not have been written")
        self._thread.shutdown(wait=bool(done), cancel_futures=True)

    async def _awaited(self, work: Callable[[StoreFile], T], otherwise: T) -> T:
        if self._closed:
            return otherwise
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, self._attempt, work, otherwise)

    def _submit(self, work: Callable[[], None]) -> None:
        if not self._closed:
            self._thread.submit(work)

    # What follows runs on the store's own thread.

    def _attempt(self, work: Callable[[StoreFile], T], otherwise: T) -> T:
        if time.monotonic() < self._resumes:
            return otherwise
        try:
            if self._doubts:
                self._file.forget(tuple(self._doubts))
                self._doubts.clear()
            result = work(self._file)
        except (sqlite3.Error, OSError, OverflowError, ValueError, MemoryError) as fault:
            self._file.close()
            self._pause(str(fault))
            return otherwise
        if self._resumes:
            self._resumes = 0.0
            _log.info("the cache's disk works again")
        return result

    def _pause(self, why: str) -> None:
        if not self._resumes:
            _log.warning(
                "the cache does without its disk for now",
                extra={"why": why, "seconds": limits.STORE_PAUSE_SECONDS},
            )
        self._resumes = time.monotonic() + limits.STORE_PAUSE_SECONDS

    def _doubt(self, prefix: str) -> None:
        if len(self._doubts) >= limits.STORE_DOUBTS:
            self._doubts = {""}
        if "" not in self._doubts:
            self._doubts.add(prefix)
