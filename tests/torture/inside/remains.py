"""A gateway at rest -> what is still there that nobody needs: tasks, descriptors, turns, claims, drafts.

What the gateway keeps on purpose (the sweeper, pooled connections, its database) is what is there after a
session without faults, and is told apart by comparing the two (`beyond`).
"""

import asyncio
import gc
import os
import re
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final
from weakref import WeakKeyDictionary, WeakSet

from gateway.commands.wiring import Parts
from gateway.service.server import Server

_semaphores: Final = WeakKeyDictionary[asyncio.Semaphore, int]()
_locks: Final = WeakSet[asyncio.Lock]()
_LIST: Final = os.listdir  # before anything was made to fail
_LINK: Final = os.readlink


def count_turns() -> None:
    """Know from now on each semaphore and lock, and what it began with."""
    semaphore, lock = asyncio.Semaphore.__init__, asyncio.Lock.__init__

    def begin(self: asyncio.Semaphore, value: int = 1) -> None:
        semaphore(self, value)
        _semaphores[self] = value

    def begin_lock(self: asyncio.Lock) -> None:
        lock(self)
        _locks.add(self)

    asyncio.Semaphore.__init__ = begin  # type: ignore[method-assign]
    asyncio.Lock.__init__ = begin_lock  # type: ignore[method-assign]


def descriptors() -> Counter[str]:
    """What is open, by kind."""
    found: Counter[str] = Counter()
    for number in _LIST("/proc/self/fd"):
        try:
            target = _LINK(f"/proc/self/fd/{number}")
        except OSError:  # the listing's own
            continue
        found[re.sub(r"\[?\d{3,}\]?|(?<=^/dev/pts/)\d+( \(deleted\))?", "#", target)] += 1
    return found


def tasks() -> Counter[str]:
    """What runs on this loop, by the coroutine's name."""
    found: Counter[str] = Counter()
    for each in asyncio.all_tasks():
        coroutine: Any = each.get_coro()
        found[coroutine.__qualname__] += 1
    return found


def turns() -> Counter[str]:
    """Semaphores and locks that somebody has."""
    found = _taken()
    if found:
        gc.collect()  # those of an earlier gateway may only not have been swept up yet
        found = _taken()
    return found


def _taken() -> Counter[str]:
    found = Counter({"turns": sum(value - each._value for each, value in list(_semaphores.items()))})
    found["locks"] = sum(each.locked() for each in list(_locks))
    return +found


def counted(parts: Parts, server: Server) -> Counter[str]:
    """What the gateway's own parts hold."""
    jobs, breaker = parts._jobs, parts._adapters.breaker
    found: Counter[str] = Counter()
    found["clients"] = server.clients + server.leaving
    found["jobs"] = len(jobs._tasks) + len(jobs._turns._queues) + jobs._transfers.total()
    found["breaker tried"] = sum(each.tried for each in breaker._circuits.values())
    found["breaker open"] = sum(each.until is not None for each in breaker._circuits.values())
    found["logins"] = server._answers._waiting
    for each in server._ports._ports.values():
        found["calls in"] += sum(1 for one in (each._caller, each._open, each._hearer, each._ringing) if one)
        found["calls in"] += len(each._goodbyes)
    spool = parts._spool._spool
    found["drafts"] = 0 if spool is None else len(spool._drafts)
    return +found


def files(state: Path) -> Counter[str]:
    """What lies in the state folder, without what is to lie there: the database and kept jobs."""
    found: Counter[str] = Counter()
    names = {path.relative_to(state).as_posix() for path in state.rglob("*") if path.is_file()}
    for name in names:
        stem, _, kind = name.rpartition(".")
        if name.startswith("spool/") and (kind == "job" or f"{stem}.job" in names):
            continue
        if re.match(r"cache\.|accounts\.json$|spool/(lock|\.lock)$", name):
            continue
        found[f"file {re.sub(r'[0-9]+|[a-z0-9_]{8}$', '#', name)}"] += 1
    return found


def beyond(found: Mapping[str, int], usual: Mapping[str, int]) -> dict[str, int]:
    """What is more than usual."""
    return {what: count - usual.get(what, 0) for what, count in found.items() if count > usual.get(what, 0)}
