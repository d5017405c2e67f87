"""Work that is given up at a chosen turn of the loop."""

import asyncio
from collections.abc import Awaitable
from contextlib import suppress

from adapters.errors import HeadraceError


async def given_up(work: Awaitable[object], moment: int, again: int | None) -> None:
    """Cancel it after so many turns of the loop, and perhaps so many later once more; wait for its end."""
    task = asyncio.ensure_future(work)
    for _ in range(moment):
        await asyncio.sleep(0)
    task.cancel()
    if again is not None:
        for _ in range(again):
            await asyncio.sleep(0)
        task.cancel()
    with suppress(asyncio.CancelledError, HeadraceError):
        await task
