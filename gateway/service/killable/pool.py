"""a document to be laid out -> its Sheet, by one of a few processes; one that takes too long is killed."""

import asyncio
import logging
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError, TooMuchWork
from gateway.extract.plan import Sheet
from gateway.service.killable.parcels import Task
from gateway.service.killable.process import Process

_log = logging.getLogger(__name__)

_BUSY: Final = "The gateway is too busy for this now"


class _Ended(Exception):
    """The process is no more; its cause is what was seen of that."""


class Workers:
    """Shared by all clients. Processes are started when they are needed, at most limits.LAYOUTS, and ended
    after limits.WORK_IDLE_SECONDS without work.
    """

    def __init__(self) -> None:
        self._turns = asyncio.Semaphore(limits.LAYOUTS)
        self._threads = ThreadPoolExecutor(limits.LAYOUTS, "work")
        self._idle: list[Process] = []
        self._busy: set[Process] = set()
        self._starts: set[_Start] = set()
        self._expiry: asyncio.TimerHandle | None = None
        self._closed = False
        self.stopped = 0  # because they took too long

    async def lay_out(self, task: Task, seconds: float) -> Sheet:
        """The sheet within `seconds`. TooMuchWork: it took longer than limits.WORK_SECONDS, or more memory
        than there is for one. HeadraceError (451): the gateway has too much to do.
        """
        ends = asyncio.get_running_loop().time() + max(0.0, seconds)
        try:
            async with asyncio.timeout_at(ends):
                await self._turns.acquire()
        except TimeoutError as error:
            raise HeadraceError(_BUSY) from error
        try:
            while self._idle:
                try:
                    return await self._done(task, ends)
                except _Ended:  # while it had nothing to do
                    continue
            while not self._idle:  # another's request may be quicker than this one
                await self._start(ends)
            return await self._done(task, ends)
        except _Ended as error:
            _log.error("a process that picks values has ended: %s", error.__cause__)
            raise TooMuchWork from error
        finally:
            self._turns.release()

    async def _start(self, ends: float) -> None:
        """One more, which has nothing to do yet. Whoever cannot wait for it leaves it for the next: where a
        start takes longer than any request may, the first big document of all would never be laid out.
        """
        if self._closed:
            raise _Ended
        loop = asyncio.get_running_loop()
        start = _Start()
        try:
            starting = loop.run_in_executor(self._threads, start.run)
        except RuntimeError:  # no thread is left (pthread_create(3), EAGAIN)
            start.give_up()  # the pool has it in its queue all the same, and its next thread would do it
            raise
        self._starts.add(start)
        late = loop.call_later(limits.WORK_START_SECONDS, start.give_up)
        starting.add_done_callback(lambda done: self._started(start, late, done))
        try:
            async with asyncio.timeout_at(ends):
                await asyncio.shield(starting)
        except TimeoutError as error:
            raise HeadraceError(_BUSY) from error

    def _started(self, start: "_Start", late: asyncio.TimerHandle, done: "asyncio.Future[Process]") -> None:
        late.cancel()
        self._starts.discard(start)
        if done.exception() is not None:  # nobody cancels it
            return
        if self._closed or len(self._idle) + len(self._busy) >= limits.LAYOUTS:
            done.result().close()
        else:
            self._rest(done.result())

    async def _done(self, task: Task, ends: float) -> Sheet:
        """By one that has nothing to do; there is one."""
        loop, process = asyncio.get_running_loop(), self._idle.pop()
        most = loop.time() + limits.WORK_SECONDS
        try:
            asked = loop.run_in_executor(self._threads, process.ask, task)
        except RuntimeError:  # no thread is left (pthread_create(3), EAGAIN)
            process.close()
            raise
        self._busy.add(process)
        good = False
        try:
            async with asyncio.timeout_at(min(ends, most)):
                sheet = await asyncio.shield(asked)
            good = True
        except TimeoutError as error:
            if ends < most:
                raise HeadraceError(_BUSY) from error
            self.stopped += 1
            _log.warning("a selection was stopped after %.0f seconds", limits.WORK_SECONDS)
            raise TooMuchWork from error
        except HeadraceError:
            good = True
            raise
        except (OSError, ValueError) as error:
            raise _Ended from error
        finally:
            self._busy.discard(process)
            if good and not self._closed:
                self._rest(process)
            else:
                process.kill()
                if asked.done():  # at once: `aclose` may be over before a callback has its turn
                    _forget(process, asked)
                else:
                    asked.add_done_callback(lambda done: _forget(process, done))
        return sheet

    def _rest(self, process: Process) -> None:
        self._idle.append(process)
        if self._expiry is not None:
            self._expiry.cancel()
        self._expiry = asyncio.get_running_loop().call_later(limits.WORK_IDLE_SECONDS, self._expire)

    def _expire(self) -> None:
        idle, self._idle = self._idle, []
        for process in idle:
            process.close()

    @property
    def numbers(self) -> list[int]:
        """The ids of the processes that there are."""
        return sorted(each.number for each in (*self._idle, *self._busy))

    async def aclose(self) -> None:
        """End them all."""
        self._closed = True
        if self._expiry is not None:
            self._expiry.cancel()
        for process in self._busy:
            process.kill()
        for start in self._starts:
            start.give_up()
        self._expire()
        await asyncio.get_running_loop().run_in_executor(None, self._threads.shutdown)


class _Start:
    """A process that is being started, by a thread."""

    def __init__(self) -> None:
        self._process: Process | None = None
        self._given_up = threading.Event()

    def run(self) -> Process:
        """The process, ready for work. _Ended: it did not come to that."""
        if self._given_up.is_set():
            raise _Ended
        self._process = process = Process()
        if self._given_up.is_set():
            process.kill()
        try:
            process.begin()
        except (OSError, ValueError) as error:
            process.close()
            raise _Ended from error
        return process

    def give_up(self) -> None:
        """`run` comes to an end soon, from whatever thread this is said."""
        self._given_up.set()
        if self._process is not None:
            self._process.kill()


def _forget(process: Process, asked: "asyncio.Future[Sheet]") -> None:
    """It is killed, and nobody reads from it any more, nor wants to know what came of it."""
    asked.exception()  # nobody cancels it
    process.close()
