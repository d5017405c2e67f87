"""A file's state -> a call when it changed: polling, since editors replace files in many ways."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

Signature = tuple[int, int, int] | None


def signature(path: Path) -> Signature:
    """What changes when the file does (time, size, inode), or None while it is not there."""
    try:
        status = path.stat()
    except OSError:
        return None
    return (status.st_mtime_ns, status.st_size, status.st_ino)


async def watch(
    path: Callable[[], Path], known: Signature, changed: Callable[[], Awaitable[None]], seconds: float = 1.0
) -> None:
    """Call `changed` after each change of the file at `path`, once it has rested for one look; never returns.
    Another file at which it points from some time on has changed, too.

    `known` is its signature before it was last read, so that a change just after that is seen too.
    """
    told = seen = known
    while True:
        await asyncio.sleep(seconds)
        now = signature(path())
        if now is not None and now == seen and now != told:
            told = now
            await changed()
        seen = now
