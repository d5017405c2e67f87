"""Processes that lay documents out: few, killed where they take too long, and gone when nobody needs them."""

import asyncio
import errno
import os
import signal
import threading
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from adapters import limits
from adapters.errors import HeadraceError, TooMuchWork
from gateway.extract.plan import Style
from gateway.service.killable import pool, process
from gateway.service.killable.parcels import Task
from gateway.service.killable.pool import Workers
from gateway.service.killable.process import Process
from gateway.session.picking import pick_plan
from tests.disks import descriptors
from tests.gateway.service.killable.test_process import task

GOOD = task(b'[{"a": "one"}]')
BODY = b"<r>" + b"<b/>" * 20_000 + b"</r>"
RUNS_AWAY = Task(BODY, "application/xml", None, pick_plan("//*[following::*[preceding::*]]", []), Style())
"""Counted steps end it after some four seconds; the clock is to be first."""


def there(number: int) -> bool:
    """Whether the process is there, or still to be waited for."""
    return Path(f"/proc/{number}").exists()


@asynccontextmanager
async def workers() -> AsyncIterator[Workers]:
    made = Workers()
    try:
        yield made
    finally:
        numbers = made.numbers
        await made.aclose()
        assert not any(there(each) for each in numbers)


async def test_one_after_the_other_by_one_process() -> None:
    async with workers() as made:
        assert not made.numbers
        for _ in range(3):
            assert [each.text for each in (await made.lay_out(GOOD, 10)).records] == ["one"]
        assert len(made.numbers) == 1
        await asyncio.gather(*(made.lay_out(GOOD, 10) for _ in range(20)))
        assert len(made.numbers) <= limits.LAYOUTS


async def test_what_runs_away_is_killed_and_others_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "WORK_SECONDS", 1.0)
    async with workers() as made:
        await made.lay_out(GOOD, 10)
        (number,) = made.numbers
        began = time.monotonic()
        away = asyncio.create_task(made.lay_out(RUNS_AWAY, 10))
        await asyncio.sleep(0.2)
        assert len((await made.lay_out(GOOD, 5)).records) == 1
        with pytest.raises(TooMuchWork):
            await away
        assert 0.9 < time.monotonic() - began < 3
        until = time.monotonic() + 5
        while there(number):
            assert time.monotonic() < until
            await asyncio.sleep(0.02)
        assert len((await made.lay_out(GOOD, 5)).records) == 1


async def test_whoever_gives_up_stops_the_work() -> None:
    async with workers() as made:
        await made.lay_out(GOOD, 10)
        away = asyncio.create_task(made.lay_out(RUNS_AWAY, 10))
        await asyncio.sleep(0.2)
        away.cancel()
        with pytest.raises(asyncio.CancelledError):
            await away
        assert made.numbers == []


async def test_too_much_to_do_is_the_gateways_fault() -> None:
    async with workers() as made:
        busy = [asyncio.create_task(made.lay_out(RUNS_AWAY, 10)) for _ in range(limits.LAYOUTS)]
        await asyncio.sleep(0.1)
        with pytest.raises(HeadraceError, match="too busy") as late:
            await made.lay_out(GOOD, 0.2)
        assert late.value.code == 451
        for each in busy:
            each.cancel()
        await asyncio.wait(busy)
        await made.lay_out(GOOD, 30)  # so that there is one
        with pytest.raises(HeadraceError, match="too busy"):
            await made.lay_out(RUNS_AWAY, 0.6)  # less than there is for one


async def test_one_that_was_never_asked_is_there_for_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Found by the torture: it was lost between being taken and being asked."""

    async def fails(*_: object) -> None:
        raise OSError("made to fail")

    async with workers() as made:
        await made.lay_out(GOOD, 30)
        numbers = made.numbers
        with monkeypatch.context() as patch:
            patch.setattr(Workers, "_done", fails)
            with pytest.raises(OSError, match="made to fail"):
                await made.lay_out(GOOD, 30)
        assert made.numbers == numbers
        assert len((await made.lay_out(GOOD, 30)).records) == 1


async def test_a_process_that_has_ended_meanwhile_is_replaced() -> None:
    async with workers() as made:
        await made.lay_out(GOOD, 10)
        (number,) = made.numbers
        os.kill(number, signal.SIGKILL)
        await asyncio.sleep(0.1)
        assert len((await made.lay_out(GOOD, 10)).records) == 1
        assert made.numbers != [number]


async def test_one_that_ends_at_work_is_told_as_too_much() -> None:
    """As the system ends one that takes too much memory."""
    async with workers() as made:
        away = asyncio.create_task(made.lay_out(RUNS_AWAY, 10))
        until = time.monotonic() + 5
        while not made.numbers:
            assert time.monotonic() < until
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.2)
        os.kill(made.numbers[0], signal.SIGKILL)
        with pytest.raises(TooMuchWork):
            await away
        assert len((await made.lay_out(GOOD, 10)).records) == 1


async def test_more_memory_than_there_is_for_one(monkeypatch: pytest.MonkeyPatch) -> None:
    async with workers() as made:
        monkeypatch.setattr(limits, "WORK_MEMORY_BYTES", 90 << 20)
        assert len((await made.lay_out(GOOD, 10)).records) == 1
        with pytest.raises(TooMuchWork):
            await made.lay_out(task(b'[{"a": "' + b"x" * (31 << 20) + b'"}]'), 10)
        assert len((await made.lay_out(GOOD, 10)).records) == 1


async def test_processes_without_work_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "WORK_IDLE_SECONDS", 0.2)
    async with workers() as made:
        await made.lay_out(GOOD, 10)
        (number,) = made.numbers
        await asyncio.sleep(0.5)
        assert made.numbers == []
        assert not there(number)
        assert len((await made.lay_out(GOOD, 10)).records) == 1


@pytest.fixture
def slow_starts(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Processes that take a second and a half until they are ready for work; their ids, as they start."""
    started: list[int] = []
    real, begin = Process.__init__, Process.begin

    def noting(process: Process) -> None:
        real(process)
        started.append(process.number)

    def slowly(process: Process) -> None:
        begin(process)
        if not process.killed:
            time.sleep(1.5)

    monkeypatch.setattr(Process, "__init__", noting)
    monkeypatch.setattr(Process, "begin", slowly)
    return started


async def test_a_start_is_not_a_documents_time(
    slow_starts: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "WORK_SECONDS", 1.0)
    async with workers() as made:
        assert len((await made.lay_out(GOOD, 10)).records) == 1
        assert made.stopped == 0
        assert made.numbers == slow_starts


async def test_a_start_that_outlasts_requests_is_for_the_next(slow_starts: list[int]) -> None:
    async with workers() as made:
        with pytest.raises(HeadraceError, match="too busy"):
            await made.lay_out(GOOD, 0.2)
        given_up = asyncio.create_task(made.lay_out(GOOD, 10))
        await asyncio.sleep(0.2)
        given_up.cancel()
        await asyncio.wait({given_up})
        until = time.monotonic() + 10
        while len(made.numbers) < 2:
            assert time.monotonic() < until
            await asyncio.sleep(0.02)
        assert len((await made.lay_out(GOOD, 5)).records) == 1
        assert made.numbers == sorted(slow_starts)


async def test_no_more_processes_are_kept_than_work_at_once(slow_starts: list[int]) -> None:
    """Nor is one begun for each of those who give up."""
    async with workers() as made:
        for _ in range(limits.LAYOUTS * 3):
            with pytest.raises(HeadraceError, match="too busy"):
                await made.lay_out(GOOD, 0.1)
        until = time.monotonic() + 20
        while made._starts:
            assert time.monotonic() < until
            await asyncio.sleep(0.05)
        assert len(made.numbers) == limits.LAYOUTS
        assert sum(map(there, slow_starts)) == limits.LAYOUTS


async def test_a_start_without_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "WORK_START_SECONDS", 0.3)
    async with workers() as made:
        with monkeypatch.context() as patch:
            patch.setattr(process, "_START", "import time; time.sleep(60)")
            with pytest.raises(TooMuchWork):
                await made.lay_out(GOOD, 10)
        monkeypatch.setattr(limits, "WORK_START_SECONDS", 60.0)
        assert len((await made.lay_out(GOOD, 10)).records) == 1


@pytest.mark.parametrize("after", [0.0, 0.3])
async def test_a_start_is_given_up_at_the_end(after: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before its thread has begun, or while the process has nothing to say yet."""
    monkeypatch.setattr(process, "_START", "import time; time.sleep(60)")
    made = Workers()
    doing = asyncio.create_task(made.lay_out(GOOD, 30))
    await asyncio.sleep(after)
    began = time.monotonic()
    await made.aclose()
    with pytest.raises(TooMuchWork):
        await doing
    assert time.monotonic() - began < 3


def test_one_given_up_while_it_is_made_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """When nobody can kill it yet."""
    start, made = pool._Start(), list[Process]()

    def making() -> Process:
        made.append(Process())
        start.give_up()
        return made[0]

    monkeypatch.setattr(pool, "Process", making)
    with pytest.raises(pool._Ended):
        start.run()
    assert not there(made[0].number)


async def test_one_that_has_started_just_before_the_end_is_ended_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the moment in which it is there and the one in which whoever wanted it notices."""
    made, rest = Workers(), Workers._rest
    ending: list[asyncio.Task[None]] = []

    def resting(workers: Workers, process: Process) -> None:
        rest(workers, process)
        ending.append(asyncio.create_task(made.aclose()))

    monkeypatch.setattr(Workers, "_rest", resting)
    with pytest.raises(TooMuchWork):
        await made.lay_out(GOOD, 30)
    await ending[0]
    assert made.numbers == []


async def test_without_a_thread_no_process_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """pthread_create(3), EAGAIN, in the moment in which the process is there and its work is not begun."""
    real = ThreadPoolExecutor.submit

    def submit(threads: ThreadPoolExecutor, work: Callable[..., Any], *more: Any) -> Any:
        if not isinstance(getattr(work, "__self__", None), pool._Start):
            raise RuntimeError("can't start new thread")  # noqa: TRY004 as it says
        return real(threads, work, *more)

    async with workers() as made:
        children = descriptors()
        with monkeypatch.context() as patch:
            patch.setattr(ThreadPoolExecutor, "submit", submit)
            for _ in range(limits.LAYOUTS + 1):
                with pytest.raises(RuntimeError):
                    await made.lay_out(GOOD, 10)
        assert made.numbers == []
        assert descriptors() == children
        assert len((await made.lay_out(GOOD, 10)).records) == 1


async def test_a_process_that_found_no_thread_is_not_started_later(monkeypatch: pytest.MonkeyPatch) -> None:
    def start(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    async with workers() as made:
        before = descriptors()
        with monkeypatch.context() as patch:
            patch.setattr(threading.Thread, "start", start)
            with pytest.raises(RuntimeError):
                await made.lay_out(GOOD, 10)
        assert len((await made.lay_out(GOOD, 10)).records) == 1
        assert len(made.numbers) == 1
        assert descriptors() == before + 2  # of that one


async def test_what_is_at_work_is_killed_at_the_end() -> None:
    made = Workers()
    away = asyncio.create_task(made.lay_out(RUNS_AWAY, 30))
    until = time.monotonic() + 30
    while not made._busy:
        assert time.monotonic() < until
        await asyncio.sleep(0.01)
    (number,) = made.numbers
    began = time.monotonic()
    await made.aclose()
    with pytest.raises(TooMuchWork):
        await away
    assert time.monotonic() - began < 3
    assert not there(number)


async def test_a_process_that_could_not_start_when_nobody_waited_any_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The fault is nobody's to tell, and must not be told as one that nobody looked at."""
    begun, release = threading.Event(), threading.Event()

    def fails() -> Process:
        begun.set()
        release.wait(5)
        raise OSError(errno.ENOMEM, "made to fail")

    told: list[object] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, what: told.append(what))
    async with workers() as made:
        with monkeypatch.context() as patch:
            patch.setattr(pool, "Process", fails)
            waiting = asyncio.create_task(made.lay_out(GOOD, 10))
            while not begun.is_set():  # noqa: ASYNC110 it is another thread's
                await asyncio.sleep(0.01)
            waiting.cancel()
            await asyncio.wait({waiting})
            release.set()
            await asyncio.sleep(0.05)
        assert len((await made.lay_out(GOOD, 10)).records) == 1
    assert told == []
