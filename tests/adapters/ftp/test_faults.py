"""Faults on purpose at every phase of login, list, read, write and rename, from a scripted server.

After each: the right error, the old target intact or the new one whole, nothing left beside it, and the next
operation of the same adapter goes well.
"""

import asyncio
from collections.abc import Callable
from time import perf_counter

import pytest

from adapters.errors import (
    BrokenOff,
    MayBeDone,
    NotAllowed,
    TooSlow,
)
from adapters.ftp.adapter import FtpAdapter
from adapters.ftp.locations import located
from tests.adapters.ftp.doing import (
    OLD,
    SECONDS,
    Doing,
    erasing,
    fails,
    listing,
    making,
    reading,
    renaming,
    still_well,
    writing,
)
from tests.adapters.ftp.scripted import Fault, Scripted, scripted
from tests.adapters.giving_up import given_up

LOGIN = ("GREETING", "USER", "PASS", "FEAT", "PWD", "TYPE", "CWD")
PHASES: list[tuple[str, Doing, tuple[str, ...]]] = [
    ("list", listing, (*LOGIN, "EPSV", "MLSD")),
    ("read", reading, (*LOGIN, "MLST", "EPSV", "RETR")),
    ("write", writing, (*LOGIN, "MLST", "EPSV", "STOR", "SIZE", "RNFR")),
    ("rename", renaming, (*LOGIN, "MLST", "RNFR")),
    ("erase", erasing, (*LOGIN, "MLST")),
    ("make", making, (*LOGIN, "MLST")),
]
EACH = [pytest.param(doing, at, id=f"{name}-{at}") for name, doing, phases in PHASES for at in phases]


@pytest.mark.parametrize("kind", ["cut", "reset"])
@pytest.mark.parametrize(("doing", "at"), EACH)
async def test_cut_before_the_change(
    adapter: FtpAdapter, server: Scripted, doing: Doing, at: str, kind: str
) -> None:
    server.faults[at] = Fault(kind, times=99)
    await fails(doing(adapter, server, SECONDS), BrokenOff)
    await still_well(adapter, server)


STALLS = [
    pytest.param(doing, at, kind, id=f"{name}-{at}-{kind}")
    for name, doing, phases in PHASES
    for at in phases
    for kind in ("stall", "drip")
    if name == "list" or (kind == "stall" and at not in LOGIN)  # the same for all
]


@pytest.mark.parametrize(("doing", "at", "kind"), STALLS)
async def test_stalled_before_the_change(
    adapter: FtpAdapter, server: Scripted, doing: Doing, at: str, kind: str
) -> None:
    server.faults[at] = Fault(kind)
    began = perf_counter()
    fault = await fails(doing(adapter, server, 0.15), TooSlow)
    assert fault.far == str(located(server.target).server)  # for WHY
    assert 0.1 < perf_counter() - began < 1.5  # a drip moves, and the deadline holds all the same
    await asyncio.sleep(0.05)  # what was stored is erased behind the error
    await still_well(adapter, server)


@pytest.mark.parametrize("acted", [True, False])
@pytest.mark.parametrize(
    ("doing", "at", "done"),
    [(renaming, "RNTO", b"/pub/to"), (erasing, "DELE", b""), (making, "MKD", b"/pub/to")],
    ids=["rename", "erase", "make"],
)
async def test_other_changes_without_an_answer(
    adapter: FtpAdapter, server: Scripted, doing: Doing, at: str, done: bytes, acted: bool
) -> None:
    server.faults[at] = Fault("cut", acted=acted)
    if acted:
        await doing(adapter, server, SECONDS)  # looked at on another login, and it was done
        assert not done or done in server.documents or done in server.folders
    else:
        await fails(doing(adapter, server, SECONDS), MayBeDone)
    await still_well(adapter, server, None if acted and at != "MKD" else OLD)


@pytest.mark.parametrize("doing", [renaming, erasing, making], ids=["rename", "erase", "make"])
async def test_a_refused_change_is_no_doubt(adapter: FtpAdapter, server: Scripted, doing: Doing) -> None:
    for at in ("RNTO", "DELE", "MKD"):
        server.faults[at] = Fault("say", "550 Permission denied")
    await fails(doing(adapter, server, SECONDS), NotAllowed)
    await still_well(adapter, server)


@pytest.mark.parametrize("again", [None, 1])
@pytest.mark.parametrize("doing", [listing, reading, writing, renaming, erasing, making])
async def test_whoever_gives_up_at_any_moment_leaves_no_login(doing: Doing, again: int | None) -> None:
    """Once, or a second time while what was begun is being ended: 42 to 84 turns of the loop take it all."""
    for moment in range(0, 90, 4):
        await leaves_no_login(doing, moment, again)


async def leaves_no_login(doing: Doing, moment: int, again: int | None) -> None:
    async with scripted() as server:
        server.documents[b"/pub/old"] = OLD
        adapter = FtpAdapter()
        await given_up(doing(adapter, server, SECONDS), moment, again)
        lanes = adapter.logins._lanes.values()
        assert await comes_about(lambda: not any(each.used or each.waiting for each in lanes))
        await adapter.aclose()
        assert await comes_about(lambda: not server.open)


async def comes_about(true: Callable[[], bool]) -> bool:
    """Wait a while for it: what was sent by half is erased, and the far end hears that nobody is there."""
    for _ in range(1_000):
        if true():
            return True
        await asyncio.sleep(0.005)
    return False
