"""A file action with one fault at one place -> what came of it, held against what may come of it.

A drill is run clean first, which tells how many commands and replies there are; then it is run again with the
line cut at each of them in turn. What must hold each time, by the promise of adapters.files: success means
that the change was made; MayBeDone, made or not, but whole; any other error, not made. Nothing else in the
folder is touched, the error is one of a broken line, and the adapter goes on working afterwards.
"""

import asyncio
import itertools
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias

from adapters.errors import BrokenOff, CannotConnect, FarBusy, HeadraceError, MayBeDone, TooSlow
from adapters.files import Ability, FileAdapter, Target, Upload, Was
from adapters.port import CredentialKind, Credentials, Reach
from tests.faults.proxy import LOOPBACK, FaultProxy
from tests.faults.script import At, Channel, Cut, Fault, Way

USER: Final = "drill"
PASSWORD: Final = "invented-password-of-the-drill"
SECONDS: Final = 10.0  # far more than anything takes here, as machines may be busy
_WARM_SECONDS: Final = 10.0  # the same where a test shortens the other: it is not what it tries
AT_ONCE: Final = 4  # drills that run side by side, each in a folder of its own: WsgiDAV has ten threads

BEGINS, MIDDLE, ENDS = b"<begins>", b"<middle>", b"<ends>"
OLD: Final = b"what was there before, and is to stay\r\n" * 40 + b"."  # its end begins no pattern
OTHER: Final = b"a file that nobody speaks of\n"
NEW: Final = BEGINS + b"n" * 150_000 + MIDDLE + b"n" * 150_000 + ENDS

Snapshot: TypeAlias = Mapping[str, bytes | None]
"""Names in a folder and what they hold; None: a folder."""

Traffic: TypeAlias = Mapping[tuple[Way, Channel], bytes]


_numbers = itertools.count(1)


@dataclass(frozen=True, slots=True)
class Drill:
    """One action. `result` is what `act` gives where it only reads; `warm`: a login was made before."""

    name: str
    act: Callable[[FileAdapter, Target], Awaitable[object]]
    before: Snapshot
    after: Snapshot
    needs: Ability
    result: object = None
    warm: bool = True

    @property
    def reads(self) -> bool:
        """Whether it changes nothing."""
        return self.before == self.after


async def _list(adapter: FileAdapter, root: Target) -> object:
    listing = await adapter.list(root, SECONDS)
    return sorted(entry.name for entry in listing.entries), listing.partial


async def _read(adapter: FileAdapter, root: Target) -> object:
    async with adapter.read(root.within(b"long"), 0, None, SECONDS) as reading:
        return b"".join([chunk async for chunk in reading.chunks])


async def _read_part(adapter: FileAdapter, root: Target) -> object:
    async with adapter.read(root.within(b"long"), 150_000, 20, SECONDS) as reading:
        return b"".join([chunk async for chunk in reading.chunks])


def upload(body: bytes) -> Upload:
    """A body in pieces, such as a staged file gives."""

    async def chunks() -> AsyncIterator[bytes]:
        for start in range(0, len(body), 65_536):
            yield body[start : start + 65_536]

    return Upload(chunks, len(body))


async def _replace(adapter: FileAdapter, root: Target) -> None:
    await adapter.write(root.within(b"note"), upload(NEW), Was.ANYTHING, SECONDS)


async def _create(adapter: FileAdapter, root: Target) -> None:
    await adapter.write(root.within(b"fresh"), upload(NEW), Was.NOTHING, SECONDS)


async def _append(adapter: FileAdapter, root: Target) -> None:
    await adapter.append(root.within(b"note"), upload(NEW), Was.ANYTHING, SECONDS)


async def _rename(adapter: FileAdapter, root: Target) -> None:
    await adapter.rename(root.within(b"note"), root.within(b"moved"), SECONDS)


async def _erase(adapter: FileAdapter, root: Target) -> None:
    await adapter.erase(root.within(b"note"), SECONDS)


async def _make(adapter: FileAdapter, root: Target) -> None:
    await adapter.make_folder(root.within(b"made"), SECONDS)


async def _copy(adapter: FileAdapter, root: Target) -> None:
    await adapter.copy(root.within(b"long"), root.within(b"note"), SECONDS)


START: Final[Snapshot] = {"note": OLD, "long": NEW, "other": OTHER, "deep": None}
_NOTELESS: Final[Snapshot] = {"long": NEW, "other": OTHER, "deep": None}

_LISTED: Final = (sorted(map(str.encode, START)), False)

DRILLS: Final = (
    Drill("login and list", _list, START, START, Ability.LIST, _LISTED, warm=False),
    Drill("read", _read, START, START, Ability.READ, NEW),
    Drill("read a part", _read_part, START, START, Ability.READ, NEW[150_000:150_020]),
    Drill("replace", _replace, START, {**START, "note": NEW}, Ability.WRITE),
    Drill("create", _create, START, {**START, "fresh": NEW}, Ability.WRITE),
    Drill("append", _append, START, {**START, "note": OLD + NEW}, Ability.APPEND),
    Drill("rename", _rename, START, {**_NOTELESS, "moved": OLD}, Ability.RENAME),
    Drill("erase", _erase, START, _NOTELESS, Ability.ERASE),
    Drill("make a folder", _make, START, {**START, "made": None}, Ability.MAKE_FOLDER),
    Drill("copy", _copy, START, {**START, "note": NEW}, Ability.COPY),
)


@dataclass(frozen=True, slots=True)
class Stand:
    """An adapter and a real server. `folder` is what the server shows as its root."""

    adapter: Callable[[], FileAdapter]
    scheme: str
    port: int
    folder: Path

    def target(self, port: int, name: str, scheme: str = "") -> Target:
        """A folder of the server by way of another port."""
        root = f"{scheme or self.scheme}://{LOOPBACK}:{port}/"
        reach = Reach(named=frozenset({(LOOPBACK, port)}))
        credentials = Credentials(CredentialKind.BASIC, USER, PASSWORD)
        return Target(f"{root}{name}/", root, credentials, reach=reach)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one run. `again` is the error of a listing after it, over the same proxy and adapter."""

    error: HeadraceError | None
    result: object
    found: Snapshot
    again: HeadraceError | None
    proxy: FaultProxy
    seconds: float
    before: Traffic  # what had come by when the action began
    after: Traffic  # and when it was over


async def run(
    stand: Stand,
    drill: Drill,
    faults: Sequence[Fault] = (),
    *,
    scheme: str = "",
    once_more: bool = True,
) -> Outcome:
    """Run a drill in a folder of its own."""
    home = stand.folder / f"{drill.name.replace(' ', '-')}-{next(_numbers)}"
    _fill(home, drill.before)
    error: HeadraceError | None = None
    again: HeadraceError | None = None
    result: object = None
    async with FaultProxy(stand.port, faults, ftp=stand.scheme == "ftp") as proxy:
        adapter = stand.adapter()
        root = stand.target(proxy.port, home.name, scheme)
        try:
            if drill.warm:
                await adapter.list(root, _WARM_SECONDS)
            before = _traffic(proxy)
            began = time.perf_counter()
            try:
                result = await drill.act(adapter, root)
            except HeadraceError as failure:
                error = failure
            took, after = time.perf_counter() - began, _traffic(proxy)
            if once_more:
                try:
                    await adapter.list(root, SECONDS)
                except HeadraceError as failure:
                    again = failure
        finally:
            await adapter.aclose()
    found = await _settled(home)
    return Outcome(error, result, found, again, proxy, took, before, after)


def check(drill: Drill, outcome: Outcome, *also: type[HeadraceError]) -> None:
    """What has to hold whatever happened; AssertionError says what did not. `also`: further right errors."""
    error = outcome.error
    known = {name: outcome.found.get(name, b"-") for name in {*drill.before, *drill.after} & {*outcome.found}}
    if error is None:
        assert known == drill.after, f"success, and not done: {_shown(outcome.found)}"
        assert outcome.result == drill.result, "success, and a wrong answer"
    elif isinstance(error, MayBeDone):
        assert not drill.reads, "nothing could have been done"
        assert known in (drill.before, drill.after), f"a mixture: {_shown(outcome.found)}"
    else:
        assert known == drill.before, f"{error!r}, and done: {_shown(outcome.found)}"
        assert isinstance(error, (BrokenOff, CannotConnect, FarBusy, TooSlow, *also)), f"told as {error!r}"
    if drill.reads:
        assert outcome.found == drill.before, f"reading left something: {_shown(outcome.found)}"
    assert PASSWORD not in str(error)


async def cut_everywhere(
    stand: Stand, drill: Drill, cuts: Callable[[Outcome], Sequence[Cut]]
) -> Sequence[Outcome]:
    """Run it clean, then once for each cut; AssertionError lists each that went wrong."""
    clean = await run(stand, drill)
    assert clean.error is None, repr(clean.error)
    check(drill, clean)
    assert clean.found == drill.after, "something was left lying about"
    chosen = list(cuts(clean))
    assert chosen

    done = await run_each(stand, drill, chosen)
    wrong = []
    for cut, outcome in zip(chosen, done, strict=True):
        try:
            assert outcome.proxy.plan.struck == [cut], "the cut did not strike"
            check(drill, outcome)
            if cut.dead:
                assert isinstance(outcome.again, CannotConnect | BrokenOff), f"again: {outcome.again!r}"
            else:
                assert outcome.again is None, f"and then it does not work any more: {outcome.again!r}"
        except AssertionError as fault:
            wrong.append(f"{cut}: {str(fault).splitlines()[0]}")
    assert not wrong, "\n" + "\n".join(wrong)
    return done


async def run_each(
    stand: Stand, drill: Drill, faults: Sequence[Fault], *, once_more: bool = True, at_once: int = AT_ONCE
) -> Sequence[Outcome]:
    """Run it with each of these faults, a few side by side."""
    turns = asyncio.Semaphore(at_once)

    async def one(fault: Fault) -> Outcome:
        async with turns:
            return await run(stand, drill, [fault], once_more=once_more)

    return await asyncio.gather(*(one(fault) for fault in faults))


def places(clean: Outcome, pattern: bytes, way: Way, channel: Channel = Channel.CONTROL) -> list[At]:
    """Each place of a pattern in the action's own traffic, as the clean run had it."""
    before = clean.before[way, channel].count(pattern)
    after = clean.after[way, channel].count(pattern)
    return [At(pattern, way, channel, nth) for nth in range(before + 1, after + 1)]


def _traffic(proxy: FaultProxy) -> Traffic:
    return {(way, channel): proxy.sent(way, channel) for way in Way for channel in Channel}


def _fill(home: Path, snapshot: Snapshot) -> None:
    home.mkdir()
    for name, body in snapshot.items():
        if body is None:
            (home / name).mkdir()
        else:
            (home / name).write_bytes(body)


def _snapshot(home: Path) -> Snapshot:
    return {path.name: None if path.is_dir() else path.read_bytes() for path in home.iterdir()}


async def _settled(home: Path) -> Snapshot:
    """The folder when the server has done what it still had to do: nothing changes for a while."""
    found: Snapshot | None = None
    for _ in range(100):
        with suppress(FileNotFoundError):  # gone while it was looked at: not at rest
            seen = _snapshot(home)
            if seen == found:
                return seen
            found = seen
        await asyncio.sleep(0.04)
    raise AssertionError("the folder does not come to rest")


def _shown(found: Snapshot) -> str:
    def size(body: bytes | None) -> str:
        if body is None:
            return "folder"
        names = {OLD: "old", NEW: "new", OTHER: "other", OLD + NEW: "old+new"}
        return names.get(body, f"{len(body)} bytes")

    return " ".join(f"{name}={size(body)}" for name, body in sorted(found.items()))
