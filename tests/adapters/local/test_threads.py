"""Blocking work is awaited with a deadline, and its errors are the house's."""

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import FarBusy, MayBeDone, NotThere, TooSlow
from adapters.local.threads import Deadline, Threads


@pytest.fixture
def hanging() -> Iterator[threading.Event]:
    released = threading.Event()
    yield released
    released.set()


async def test_results_and_errors_come_back() -> None:
    threads = Threads()

    def missing() -> None:
        raise FileNotFoundError(2, "nothing", "/srv/quay")

    assert await threads.do(lambda: 7, 5) == 7
    assert await threads.do(threading.get_ident, 5) != threading.get_ident()
    with pytest.raises(NotThere) as caught:
        await threads.do(missing, 5)
    assert isinstance(caught.value.__cause__, FileNotFoundError)
    threads.close()
    assert await threads.do(lambda: 8, 5) == 8  # closing is not the end
    threads.close()


async def test_work_that_takes_too_long(hanging: threading.Event) -> None:
    threads = Threads()
    began = time.perf_counter()
    with pytest.raises(TooSlow):
        await threads.do(hanging.wait, 0.1)
    with pytest.raises(MayBeDone):
        await threads.do(hanging.wait, 0.1, changes=True)
    assert 0.15 < time.perf_counter() - began < 2
    threads.close()


async def test_a_change_that_never_began_is_not_done(
    hanging: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "DISK_THREADS", 1)
    threads, done = Threads(), threading.Event()
    with pytest.raises(TooSlow):
        await threads.do(hanging.wait, 0.05)
    with pytest.raises(TooSlow):
        await threads.do(done.set, 0.05, changes=True)
    hanging.set()
    await threads.do(lambda: None, 5)
    assert not done.is_set()
    threads.close()


@pytest.mark.parametrize("how", ["late", "cancelled"])
async def test_what_has_to_be_done_is_done_though_nobody_waits(
    hanging: threading.Event, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    monkeypatch.setattr(limits, "DISK_THREADS", 1)
    threads, done = Threads(), threading.Event()
    with pytest.raises(TooSlow):
        await threads.do(hanging.wait, 0.05)
    waiting = asyncio.create_task(threads.do(done.set, 0.05 if how == "late" else 5, surely=True))
    await asyncio.sleep(0.1)
    waiting.cancel()
    await asyncio.gather(waiting, return_exceptions=True)
    hanging.set()
    assert await asyncio.to_thread(done.wait, 5)
    threads.close()


@pytest.mark.parametrize("how", ["late", "cancelled"])
async def test_what_comes_too_late_is_given_back(hanging: threading.Event, how: str) -> None:
    threads, given_back = Threads(), threading.Event()
    begun = threading.Event()

    def open_slowly() -> int:
        begun.set()
        hanging.wait()
        return 7

    doing = asyncio.create_task(
        threads.do(
            open_slowly,
            0.1 if how == "late" else 60,
            unwanted=lambda got: given_back.set() if got == 7 else None,
        )
    )
    await asyncio.to_thread(begun.wait)
    if how == "cancelled":
        doing.cancel()
    with pytest.raises(TooSlow if how == "late" else asyncio.CancelledError):
        await doing
    assert not given_back.is_set()
    hanging.set()
    assert await asyncio.to_thread(given_back.wait, 5)
    threads.close()


async def test_an_error_that_comes_too_late_is_nobodys(
    hanging: threading.Event, caplog: pytest.LogCaptureFixture
) -> None:
    threads = Threads()

    def fail_slowly() -> None:
        hanging.wait()
        raise OSError(5, "the disk fails")

    with pytest.raises(TooSlow):
        await threads.do(fail_slowly, 0.05, unwanted=lambda _: None)
    hanging.set()
    with pytest.raises(FarBusy):
        await threads.do(fail_slowly, 5)
    await asyncio.sleep(0.01)
    threads.close()
    assert caplog.records == []


@pytest.mark.parametrize("seconds", [0, -1, -1e9])
def test_no_time_at_all(seconds: float) -> None:
    with pytest.raises(TooSlow):
        Deadline(seconds)


def test_time_runs_out(monkeypatch: pytest.MonkeyPatch) -> None:
    deadline = Deadline(1000)
    assert deadline.left() == limits.STALL_SECONDS
    monkeypatch.setattr(time, "monotonic", lambda: 1e12)
    with pytest.raises(TooSlow):
        deadline.left()


@given(st.lists(st.binary(max_size=100_000), max_size=8))
def test_pieces_are_the_same_bytes_however_they_came(chunks: list[bytes]) -> None:
    closed = False

    async def source() -> AsyncIterator[bytes]:
        nonlocal closed
        try:
            for chunk in chunks:
                yield chunk
        finally:
            closed = True

    async def run() -> list[bytes]:
        return [piece async for piece in Deadline(30).pieces(source())]

    pieces = asyncio.run(run())
    assert b"".join(pieces) == b"".join(chunks)
    assert all(len(piece) >= limits.CHUNK_BYTES for piece in pieces[:-1])
    assert b"" not in pieces
    assert closed


async def test_a_source_that_is_not_wanted_any_more_is_closed_at_once() -> None:
    """It may be another far server's transfer."""
    closed = False

    async def source() -> AsyncIterator[bytes]:
        nonlocal closed
        try:
            while True:
                yield bytes(limits.CHUNK_BYTES)
        finally:
            closed = True

    held = source()  # so that no garbage collector closes it
    pieces = Deadline(30).pieces(held)
    await anext(pieces)
    assert not closed
    await pieces.aclose()
    assert closed


async def test_an_error_of_the_source_is_its_own() -> None:
    """A time-out inside the source is not the deadline's."""

    async def source() -> AsyncIterator[bytes]:
        yield b"x"
        raise TimeoutError("of the source")

    with pytest.raises(TimeoutError, match="of the source"):
        async for _ in Deadline(30).pieces(source()):
            pass


async def test_a_source_that_stalls() -> None:
    async def source() -> AsyncIterator[bytes]:
        yield b"x"
        await asyncio.sleep(60)

    began = time.perf_counter()
    with pytest.raises(TooSlow):
        async for _ in Deadline(0.1).pieces(source()):
            pass
    assert time.perf_counter() - began < 2


async def test_without_a_thread_what_must_be_done_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    """pthread_create(3), EAGAIN: else a descriptor would stay open for good."""

    def submit(*_: object) -> None:
        raise RuntimeError("can't start new thread")

    threads, done = Threads(), list[int]()
    monkeypatch.setattr(ThreadPoolExecutor, "submit", submit)
    with pytest.raises(RuntimeError):
        await threads.do(lambda: done.append(1), 5)
    await threads.do(lambda: done.append(2), 5, surely=True)
    assert done == [2]
    threads.close()


async def test_work_that_found_no_thread_is_not_done_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pool keeps it, and would do it with the next one: what it opened would be nobody's."""

    def start(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    threads, done = Threads(), list[int]()
    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", start)
        with pytest.raises(RuntimeError):
            await threads.do(lambda: done.append(1), 5)
        await threads.do(lambda: done.append(2), 5, surely=True)
    await threads.do(lambda: done.append(3), 5)
    assert done == [2, 3]
    threads.close()


async def test_a_source_need_not_be_a_generator() -> None:
    class Source:
        def __init__(self) -> None:
            self.left = [b"a", b"b"]

        def __aiter__(self) -> "Source":
            return self

        async def __anext__(self) -> bytes:
            if not self.left:
                raise StopAsyncIteration
            return self.left.pop(0)

    assert [piece async for piece in Deadline(5).pieces(Source())] == [b"ab"]
