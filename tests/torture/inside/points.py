"""A call that is about to be made -> whether it fails now, and how: every call is counted, chosen ones fail.

A *site* is one place in the code, such as `await gateway/service/answers.py:99 self._desk.answer`; a *point*
is a site, the step of the session in which it is reached, and which time. Nothing here knows headrace: it is
imported before it.
"""

import asyncio
import errno
import inspect
import socket
import sqlite3
import termios
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

_ENDS_SECONDS: Final = 0.3  # for a future that somebody else works at, before its await fails


def _failed(number: int) -> Callable[[], OSError]:
    return lambda: OSError(number, "made to fail")


ERRORS: Final[Mapping[str, Callable[[], Exception]]] = MappingProxyType(
    {
        "reset": _failed(errno.ECONNRESET),
        "refused": _failed(errno.ECONNREFUSED),
        "late": _failed(errno.ETIMEDOUT),
        "io": _failed(errno.EIO),
        "full": _failed(errno.ENOSPC),
        "descriptors": _failed(errno.EMFILE),
        "mistake": lambda: RuntimeError("made to fail"),
        "threads": lambda: RuntimeError("can't start new thread"),
        "database": lambda: sqlite3.OperationalError("disk I/O error"),
        "terminal": lambda: termios.error(errno.EIO, "made to fail"),
        "name": lambda: socket.gaierror(socket.EAI_AGAIN, "made to fail"),
    }
)
"""What a failing call raises. OSError makes its own kinds of the numbers (errno(3)), so that ETIMEDOUT is a
TimeoutError. `mistake` stands for a fault in the gateway itself."""


@dataclass(frozen=True, slots=True)
class Point:
    """The `nth` call from `site` in a step, from 1."""

    site: str
    step: str
    nth: int = 1

    def __str__(self) -> str:
        return f"{self.step} | {self.site} | {self.nth}"


@dataclass(frozen=True, slots=True)
class Armed:
    """`for_good`: that call, and all later ones from the same site, in whatever step."""

    point: Point
    error: str
    for_good: bool


class Torture:
    """What is shared by all calls of one process, from whatever thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._counts: Counter[tuple[str, str]] = Counter()
        self._step = ""
        self._armed: Armed | None = None
        self._struck = 0

    def step(self, name: str) -> None:
        """What is asked from now on."""
        with self._lock:
            self._step = name

    def arm(self, armed: Armed | None) -> int:
        """What is to fail, and nothing else; how often the one before has failed. Counts begin anew."""
        with self._lock:
            struck, self._struck = self._struck, 0
            self._armed = armed
            self._counts.clear()
            return struck

    @property
    def counts(self) -> dict[tuple[str, str], int]:
        """Calls by site and step."""
        with self._lock:
            return dict(self._counts)

    def due(self, site: str) -> Exception | None:
        """The error that this call is to raise."""
        with self._lock:
            self._counts[site, self._step] += 1
            armed = self._armed
            if armed is None or armed.point.site != site:
                return None
            again = self._struck and armed.for_good
            point = armed.point
            first = not self._struck and self._step == point.step
            if not again and not (first and self._counts[site, self._step] == point.nth):
                return None
            self._struck += 1
            return ERRORS[armed.error]()


TORTURE: Final = Torture()


async def awaited(site: str, releases: bool, thing: Any) -> Any:
    """`await thing`, or its failure: before it has begun; after, where it gives something back (`close`),
    as what is closed is gone even where closing fails (close(2), notes); and where somebody else works at
    it, when that is through.
    """
    error = TORTURE.due(site)
    if error is None:
        return await thing
    if isinstance(thing, asyncio.Future):
        done, _ = await asyncio.wait([thing], timeout=_ENDS_SECONDS)
        if not done:
            thing.cancel()
        elif not thing.cancelled():
            thing.exception()
    elif releases:
        await thing
    elif inspect.iscoroutine(thing):
        thing.close()
    raise error


_CANNOT_FAIL: Final = (asyncio.Timeout, asyncio.Lock, asyncio.Semaphore)
"""What awaits nothing when it is left. A timeout awaits nothing when it is entered, either."""


class Entered:
    """`async with inner`: entering fails before, leaving after it was done, and never in place of an end.

    `idle`: nothing is awaited when it is left, so that leaving cannot fail by itself.
    """

    def __init__(self, site: str, idle: bool, inner: Any) -> None:
        self._site, self._idle, self._inner = site, idle, inner

    async def __aenter__(self) -> Any:
        error = None if isinstance(self._inner, asyncio.Timeout) else TORTURE.due(f"enter {self._site}")
        if error is not None:
            raise error
        return await type(self._inner).__aenter__(self._inner)

    async def __aexit__(self, kind: Any, value: Any, trace: Any) -> Any:
        if self._idle or isinstance(self._inner, _CANNOT_FAIL):
            return await self._inner.__aexit__(kind, value, trace)
        swallowed = await type(self._inner).__aexit__(self._inner, kind, value, trace)
        error = TORTURE.due(f"leave {self._site}")
        if error is not None and (value is None or isinstance(value, Exception)):
            raise error
        return swallowed


class Stepped:
    """`async for ... in inner`: the next piece fails, and there are no more."""

    def __init__(self, site: str, inner: Any) -> None:
        self._site, self._inner = site, type(inner).__aiter__(inner)

    def __aiter__(self) -> "Stepped":
        return self

    async def __anext__(self) -> Any:
        error = TORTURE.due(f"next {self._site}")
        if error is not None:
            with suppress(AttributeError):
                await self._inner.aclose()
            raise error
        return await type(self._inner).__anext__(self._inner)
