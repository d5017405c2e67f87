"""Large documents are laid out a few at a time, and nobody waits for ever."""

import asyncio
import threading

import pytest

from adapters import limits
from adapters.errors import HeadraceError, WrongDocument
from adapters.port import Fetched
from gateway.extract.plan import Field, Plan, Sheet, Style
from gateway.service import layouts as module
from gateway.service.layouts import Layouts

PLAN = Plan((Field("A", 5),))
SMALL = Fetched(b'["a"]', "application/json")
LARGE = Fetched(b'["' + b"a" * limits.INLINE_BYTES + b'"]', "application/json")


async def test_small_and_large_documents() -> None:
    layouts = Layouts()
    assert len((await layouts.lay_out(SMALL, PLAN, Style(), 5)).records) == 1
    assert len((await layouts.lay_out(LARGE, PLAN, Style(), 5)).records) == 1
    assert await layouts.lay_out(Fetched(b"", status=204), PLAN, Style(), 5) == Sheet(5, ())
    with pytest.raises(WrongDocument):
        await layouts.lay_out(
            Fetched(b"[" * limits.INLINE_BYTES + b"!", "application/json"), PLAN, Style(), 5
        )


async def test_a_few_at_a_time_and_the_late_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    release, running, most = threading.Event(), 0, 0

    def slow(*_: object) -> Sheet:
        nonlocal running, most
        running += 1
        most = max(most, running)
        release.wait(10)
        running -= 1
        return Sheet(5, ())

    monkeypatch.setattr(module, "extract", slow)
    layouts = Layouts()
    first = [asyncio.create_task(layouts.lay_out(LARGE, PLAN, Style(), 5)) for _ in range(limits.LAYOUTS)]
    await asyncio.sleep(0.1)
    loop = asyncio.get_running_loop()
    started = loop.time()
    with pytest.raises(HeadraceError, match="too busy") as caught:
        await layouts.lay_out(LARGE, PLAN, Style(), 0.2)
    assert caught.value.code == 451
    assert loop.time() - started < 1
    first[0].cancel()  # whoever gives up does not free the thread's turn
    await asyncio.sleep(0.05)
    with pytest.raises(HeadraceError):
        await layouts.lay_out(LARGE, PLAN, Style(), 0.1)
    waiting = asyncio.create_task(layouts.lay_out(LARGE, PLAN, Style(), 5))
    release.set()
    assert await waiting == Sheet(5, ())
    assert await first[1] == Sheet(5, ())
    assert most == limits.LAYOUTS
