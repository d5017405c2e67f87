"""asyncio whose clock jumps to the next timer instead of sleeping."""

import asyncio
import selectors
from collections.abc import Callable, Coroutine, Mapping
from typing import Any, TypeVar

T = TypeVar("T")

EPOCH = 1_700_000_000.0


class _Jumping(selectors.DefaultSelector):
    loop: "VirtualLoop"

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is None:
            return super().select(None)  # no timer is set: a thread has to come back
        events = super().select(0)
        if not events:
            self.loop.now += max(0.0, timeout)
        return events


class VirtualLoop(asyncio.SelectorEventLoop):
    """For code without threads: time passes only when nobody has anything to do."""

    now: float

    def __init__(self) -> None:
        selector = _Jumping()
        selector.loop = self
        self.now = 0.0
        super().__init__(selector)

    def time(self) -> float:
        return self.now


def run(main: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run `main` in virtual time; a test fails if it leaves a task behind."""
    complaints: list[Mapping[str, object]] = []

    async def watched() -> T:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: complaints.append(context))
        result = await main()
        for _ in range(3):
            await asyncio.sleep(0)
        left = asyncio.all_tasks() - {asyncio.current_task()}
        assert not left, left
        return result

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        result = runner.run(watched())
    assert not complaints, complaints  # such as "exception was never retrieved"
    return result


def clock() -> float:
    """Epoch seconds, in step with the virtual loop."""
    return EPOCH + asyncio.get_running_loop().time()
