"""Documents are laid out at once where that takes little, else a few at a time, and nobody waits for ever."""

import asyncio
import gc
import threading
import time
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager

import pytest

from adapters import limits
from adapters.errors import HeadraceError, WrongDocument
from adapters.port import Fetched
from gateway.extract.plan import Field, Plan, Sheet, Style
from gateway.service.layouts import Layouts
from gateway.session.picking import pick_plan

PLAN = Plan((Field("A", 5),))
SMALL = Fetched(b'["a"]', "application/json")
LARGE = Fetched(b'["' + b"a" * limits.INLINE_BYTES + b'"]', "application/json")


@asynccontextmanager
async def layouts() -> AsyncIterator[Layouts]:
    made = Layouts()
    try:
        yield made
    finally:
        await made.aclose()


async def test_small_and_large_documents() -> None:
    async with layouts() as made:
        assert len((await made.lay_out(SMALL, PLAN, Style(), 5)).records) == 1
        assert len((await made.lay_out(LARGE, PLAN, Style(), 5)).records) == 1
        assert await made.lay_out(Fetched(b"", status=204), PLAN, Style(), 5) == Sheet(5, ())
        with pytest.raises(WrongDocument):
            await made.lay_out(
                Fetched(b"[" * limits.INLINE_BYTES + b"!", "application/json"), PLAN, Style(), 5
            )


DEEP = b'{"a":' * 150 + b"[" + b"0," * 6_000 + b"0]" + b"}" * 150
RUNS_AWAY = {
    "XPath": (b"<r>" + b"<b/>" * 4_000 + b"</r>", "application/xml", "//*[following::*[preceding::*]]", ()),
    "JSON rows": (DEEP, "application/json", "$..[?@.a]", ("$..[?@.z==1]:9",) * 20),
    "JSON filter": (DEEP, "application/json", "$..[?@..[?@..[?@==1]]]", ()),
    "wildcards": (DEEP, "application/json", "$..*", ("$.a.a.a.a[*].a[*]:9",) * 20),
    "pattern": (b'["' + b"a" * 4_000 + b'!"]', "application/json", '$[?search(@,"(a|aa)+b")]', ()),
}


@pytest.mark.parametrize("name", RUNS_AWAY)
async def test_small_documents_that_run_away_hold_nobody_up(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At once is tried no longer than some milliseconds of the loop's own time (CWE-1333, CWE-400)."""
    monkeypatch.setattr(limits, "WORK_SECONDS", 1.0)
    body, media_type, rows, cells = RUNS_AWAY[name]
    longest = 0.0

    async def others() -> None:
        nonlocal longest
        while True:
            before = time.thread_time()
            await asyncio.sleep(0.001)
            longest = max(longest, time.thread_time() - before)

    async with layouts() as made:
        await made.lay_out(LARGE, PLAN, Style(), 20)  # so that a process is there
        watching = asyncio.create_task(others())
        await asyncio.sleep(0.02)
        gc.disable()  # half a second in a process that has run thousands of tests, and none of ours
        try:
            await made.lay_out(Fetched(body, media_type), pick_plan(rows, list(cells)), Style(), 20)
        except HeadraceError as fault:
            assert fault.code == 552
        finally:
            await asyncio.sleep(0.02)  # the last look
            gc.enable()
            watching.cancel()
    assert longest < 0.5  # 0.02 where this was written; the whole of it took seconds


async def test_other_work_a_few_at_a_time_and_the_late_are_told() -> None:
    release, running, most = threading.Event(), 0, 0

    def slow() -> int:
        nonlocal running, most
        running += 1
        most = max(most, running)
        release.wait(10)
        running -= 1
        return 5

    size = limits.INLINE_BYTES + 1
    async with layouts() as made:
        first = [asyncio.create_task(made.beside(size, 5, slow)) for _ in range(limits.LAYOUTS)]
        await asyncio.sleep(0.1)
        loop = asyncio.get_running_loop()
        started = loop.time()
        with pytest.raises(HeadraceError, match="too busy") as caught:
            await made.beside(size, 0.2, slow)
        assert caught.value.code == 451
        assert loop.time() - started < 1
        first[0].cancel()  # whoever gives up does not free the thread's turn
        await asyncio.sleep(0.05)
        with pytest.raises(HeadraceError):
            await made.beside(size, 0.1, slow)
        waiting = asyncio.create_task(made.beside(size, 5, slow))
        release.set()
        assert await waiting == 5
        assert await first[1] == 5
        assert most == limits.LAYOUTS
        assert await made.beside(limits.INLINE_BYTES, 0, lambda: 7) == 7


async def test_without_a_thread_no_turn_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """pthread_create(3), EAGAIN: it passes, and then as many as before are laid out."""

    def submit(*_: object) -> None:
        raise RuntimeError("can't start new thread")

    size = limits.INLINE_BYTES + 1
    async with layouts() as made:
        with monkeypatch.context() as patch:
            patch.setattr(ThreadPoolExecutor, "submit", submit)
            for _ in range(limits.LAYOUTS):
                with pytest.raises(RuntimeError):
                    await made.beside(size, 5, lambda: 7)
        assert await made.beside(size, 1, lambda: 7) == 7
