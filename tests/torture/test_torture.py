"""Some of the calls that a session makes fail in turn, other ones for each seed; all of them do by hand
(`python -m tests.torture`).
"""

import asyncio
import os
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.torture.chapters import CHAPTERS
from tests.torture.inside import points
from tests.torture.inside.points import Armed, Point, Torture
from tests.torture.inside.rewriting import ROOT, rewritten
from tests.torture.plan import Depth, Trial, errors_of, sample, trials
from tests.torture.sweep import sweep, torturers
from tests.torture.trial import Trials

SEED = int(os.environ.get("HEADRACE_TORTURE_SEED", "1"))
SHARE = (4, 24)
"""Chapters, and trials of them: as many as take some fifteen seconds."""


@pytest.fixture(scope="module")
def torturer() -> Iterator[Trials]:
    with torturers(1) as made:
        yield made[0]


def test_a_sample(torturer: Trials) -> None:
    chapters, size = SHARE
    chosen = random.Random(SEED).sample(sorted(CHAPTERS), chapters)
    counted = {each: torturer.usual(each).points for each in chosen}
    figures = sweep([torturer], sample(trials(counted, Depth.STEP), size, SEED))
    assert figures.trials == size
    assert figures.failures >= size // 2
    assert not figures.wrong, figures.told()


FOUND = (
    ("serial", "NOOP there", " os.read", ("gateway.service.devices.port", "_let_go"), "/dev/pts/#"),
    ("shelf changed", "STORE new", " flock", ("gateway.service.spool.folder", "let_go"), "spool/1.data"),
)
"""Chapter, step, what fails there, what closes descriptors, and which stay open without that, from
then on."""


def test_what_is_left_behind_is_found() -> None:
    """A gateway that closes no descriptors of a line that is lost, or of its spool while the disk fails."""
    with torturers(1) as (torturer,):
        for chapter, asked, failing, closes, left in FOUND:
            calls = torturer.usual(chapter).points
            site, step = next(each for each in calls if each[0].endswith(failing) and asked in each[1])
            good = torturer.trial(chapter, Point(site, step), "io", for_good=False)
            assert (good.struck, good.wrong) == (1, [])
            torturer.break_it(*closes)
            bad = torturer.trial(chapter, Point(site, step), "io", for_good=False)
            assert "left behind" in bad.wrong[0]
            assert left in bad.wrong[0]


def test_which_calls_fail() -> None:
    torture = Torture()
    for for_good, expected in ((False, "..x..."), (True, "..xxxx")):
        torture.step("one")
        torture.arm(Armed(Point("here", "two", 2), "io", for_good))
        torture.due("here")
        torture.step("two")
        seen = "." + "".join("x" if torture.due("here") else "." for _ in range(3))
        assert torture.due("elsewhere") is None
        torture.step("three")
        seen += "".join("x" if torture.due("here") else "." for _ in range(2))
        assert seen == expected
        assert torture.counts["here", "two"] == 3
        assert torture.arm(None) == expected.count("x")
        assert torture.due("here") is None


SOURCE = b"""
class Turn:
    async def __aenter__(self): log.append("in"); return self
    async def __aexit__(self, *_): log.append("out")
    async def close(self): log.append("closed")

async def pieces():
    for each in (1, 2): yield each

async def work():
    log.append("worked")

async def doing():
    async with Turn() as turn:
        await work()
        async for each in pieces(): log.append(each)
        log.append([each async for each in pieces()])
        await turn.close()
"""
ALL = ["in", "worked", 1, 2, [1, 2], "closed", "out"]


@pytest.mark.parametrize(
    ("site", "nth", "done"),
    [
        ("nothing", 1, ALL),
        ("enter made.py:14 Turn", 1, []),
        ("await made.py:15 work", 1, ["in", "out"]),
        ("next made.py:16 pieces", 2, ["in", "worked", 1, "out"]),
        ("next made.py:17 pieces", 1, ["in", "worked", 1, 2, "out"]),
        ("await made.py:18 turn.close", 1, ALL),  # what is closed is closed, whatever it says
        ("leave made.py:14 Turn", 1, ALL),
    ],
)
async def test_every_kind_of_await(site: str, nth: int, done: list[object]) -> None:
    log: list[object] = []
    made = {
        "log": log,
        "__headrace_awaited__": points.awaited,
        "__headrace_entered__": points.Entered,
        "__headrace_stepped__": points.Stepped,
    }
    exec(rewritten(SOURCE, ROOT / "made.py"), made)
    doing = made["doing"]
    assert callable(doing)
    points.TORTURE.step("")
    points.TORTURE.arm(Armed(Point(site, "", nth), "reset", for_good=False))
    try:
        if site == "nothing":
            await doing()
        else:
            with pytest.raises(ConnectionResetError):
                await doing()
    finally:
        struck = points.TORTURE.arm(None)
    assert log == done
    assert struck == (site != "nothing")


async def test_what_somebody_else_works_at_is_waited_for() -> None:
    """A thread that is at work would go on, and the result be nobody's."""
    points.TORTURE.step("")
    points.TORTURE.arm(Armed(Point("here", ""), "late", for_good=False))
    done = asyncio.get_running_loop().run_in_executor(None, Path("/").exists)
    with pytest.raises(TimeoutError):
        await points.awaited("here", False, done)
    assert done.done()
    points.TORTURE.arm(None)


def test_the_plan() -> None:
    counted = {
        "one": {
            ("await a", "one/0 X"): 2,
            ("await a", "one/1 Y"): 1,
            ("socket loop door accept", "one/0 X"): 1,
        },
        "two": {("await a", "two/0 X"): 1, ("file b os.open", "two/0 X"): 1},
    }
    first = Trial("one", Point("await a", "one/0 X"), "reset", for_good=False)
    sizes = {Depth.SITE: 13, Depth.CHAPTER: 19, Depth.STEP: 25, Depth.CALL: 31}
    for depth, size in sizes.items():
        every = list(trials(counted, depth))
        assert (len(every), len(set(every)), every[0]) == (size, size, first)
        assert sample(every, 5, 7) == sample(every, 5, 7)
    assert errors_of("socket adapters/a.py:1 far connect") == ("refused", "late")
    assert all(each in points.ERRORS for each in ("io", "full", *errors_of("await a")))
