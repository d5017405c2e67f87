"""kill -9 of a real gateway at random moments, while clients STORE, APPEND, COPY and ask all the time; then
it is started again over the same state folder.

Whatever was answered 250 is at the far server, what was answered 150 or `Kept.` is there or in the spool,
each document is the old one or the new one, whole, and all that the gateway keeps opens without a complaint.
By hand: HEADRACE_MOMENTS=200 pytest -s tests/survival; HEADRACE_MOMENTS_SEED repeats what a failure names.
"""

import asyncio
import os
import random
import sqlite3
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import HeadraceError
from gateway.commands.wiring import read_catalogue
from gateway.service.adapters import Adapters
from gateway.service.caching.storefile import FILE_NAME
from gateway.service.damage import lying_aside
from gateway.service.files.delivering import deliver, is_left_over
from gateway.service.members.accounts import Accounts
from gateway.service.spool.spool import JobKind, Spool
from tests.recorded.twice import MOMENT, Twice
from tests.survival import clients
from tests.survival.ground import CONSTANT, Gateway, Ground, ground
from tests.survival.told import Document, Told, Waiting

MOMENTS = int(os.environ.get("HEADRACE_MOMENTS", "4"))
SEED = int(os.environ.get("HEADRACE_MOMENTS_SEED") or random.randrange(10**6))
_STORED = ("web:s0", "web:s1", "quay:s2", "quay:s3", "slow:s4", "slow:s5", "shelf:s6")
_ADDED = ("quay:a0", "shelf:a1")
_COPIED = ("web:c0", "quay:c1", "shelf:c2")
_PLACES = ("web", "quay", "shelf")
_PATIENCE = 10  # seconds for so many replies, where the machine is busy


@dataclass
class Figures:
    """Of all moments so far."""

    counts: Counter[str] = field(default_factory=Counter)
    began: float = field(default_factory=time.monotonic)

    def __str__(self) -> str:
        told = ", ".join(f"{count} {name}" for name, count in sorted(self.counts.items()))
        return f"{told}, in {time.monotonic() - self.began:.0f} s"


async def test_nothing_that_was_promised_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPOOL_RESERVE_BYTES", 0)
    figures = Figures()
    async with ground(tmp_path) as here:
        documents = [Document(ref, adds=ref in _ADDED) for ref in _STORED + _COPIED + _ADDED]
        for number in range(5 * MOMENTS):
            if number >= MOMENTS and figures.counts["answered 250"]:
                break  # where it is slow, it may be killed several times before it has promised anything
            try:
                await _moment(here, documents, number, figures)
            except BaseException as failure:
                failure.add_note(f"HEADRACE_MOMENTS_SEED={SEED}, moment {number}; {figures}")
                raise
        gateway = Gateway(tmp_path)
        try:
            await gateway.port()
            await _check(here, documents, gateway, figures)
            assert await gateway.end() == 0
        finally:
            gateway.kill()
        _check_files(tmp_path / "state")
    print(f"\n{figures} (seed {SEED})")
    assert figures.counts["answered 250"]


async def _moment(here: Ground, documents: Sequence[Document], number: int, figures: Figures) -> None:
    """Start it, see what the last one left, put it to work, and kill it; some record, some do not get far."""
    chance = random.Random(SEED * 1_000 + number)
    site = here.home / f"hall-{number}" if number % 4 == 1 else None
    recording = [] if site is None else ["--record", site.name, "--clock", MOMENT.isoformat()]
    gateway = Gateway(here.home, *recording)
    figures.counts["moments"] += 1
    try:
        if number % 4 == 3 and chance.random() < 0.5:  # while it starts, over what the last one left
            await asyncio.sleep(chance.random() * 2)
            return
        port = await gateway.port()
        await _check(here, documents, gateway, figures)
        said = await _work(port, documents, chance, gateway, figures)
        assert gateway.trouble() == []
    finally:
        gateway.kill()
    said = [(request, reply) for request, reply in said if reply[:1] == b"2"]  # not 420: the machine is busy
    figures.counts["replies"] += len(said)
    if site is not None and said:
        twice = Twice(here.home / "headrace.toml", site)
        played = await twice.played(*(request for request, _ in said))
        assert played == [reply for _, reply in said]
        figures.counts["replies played"] += len(said)


async def _work(
    port: int, documents: Sequence[Document], chance: random.Random, gateway: Gateway, figures: Figures
) -> list[tuple[str, bytes]]:
    """All clients at once, and the kill; what questions were answered."""
    said: list[tuple[str, bytes]] = []
    sources = {f"shelf:t{number}.txt": _constant(number) for number in range(CONSTANT)}
    works = []
    for document in documents:
        own = random.Random(chance.random())
        if document.adds:
            work = partial(clients.append, document=document, chance=own)
        elif document.ref in _COPIED:
            work = partial(clients.copy, document=document, chance=own, sources=sources)
        else:
            work = partial(clients.store, document=document, chance=own)
        works.append(work)
    questions = [f"ASK rows d{number}.json" for number in range(CONSTANT)]
    for place in _PLACES:
        questions += [f"READ {place}:t{number}.txt 10 3000" for number in range(CONSTANT)]
        questions += [f"TEXT {place}:t{number}.txt" for number in range(6)]
    chance.shuffle(questions)
    halves = questions[::2], questions[1::2]
    works += [partial(clients.ask, requests=half, said=said) for half in halves]
    traffic = Counter[str]()
    tasks = [asyncio.create_task(clients.until_cut(work, port, traffic)) for work in works]
    replies, ends = chance.choice((5, 30, 90)) * chance.random(), time.monotonic() + _PATIENCE
    while traffic["replies"] < replies and time.monotonic() < ends:  # noqa: ASYNC110 - any of many lines
        await asyncio.sleep(0.001)
    await asyncio.sleep(chance.random() / 20)
    gateway.kill()
    await asyncio.gather(*tasks)
    figures.counts["requests"] += traffic["requests"]
    told = Counter(each.told for document in documents for each in document.tries)
    figures.counts["answered 250"] += told[Told.DONE]
    figures.counts["answered 150 or Kept"] += told[Told.BEGUN] + told[Told.KEPT]
    figures.counts["cut off"] += told[Told.OPEN]
    return said


def _constant(number: int) -> bytes:
    return f"Line of text {number}\n".encode() * (1 + number**4)


async def _check(here: Ground, documents: Sequence[Document], gateway: Gateway, figures: Figures) -> None:
    """What an earlier gateway left, now that this one has recovered it; then deliver what waits."""
    assert gateway.trouble() == []
    assert lying_aside(here.home / "state") == []
    for place in _PLACES:
        known = {each.ref.partition(":")[2] for each in documents}
        for name in here.names(place):
            constant = name.startswith(("t", "d")) and "." in name and not is_left_over(name.encode(), b"")
            if name not in known and not constant:
                assert any(is_left_over(name.encode(), each.encode()) for each in known), f"{place}:{name}"
    spool = Spool(here.home / "state" / "spool")
    waiting = {document.ref: _waiting(here, spool, document) for document in documents}
    assert spool.damaged == 0
    assert sum(map(len, waiting.values())) == len(spool.held()), "a job for what nobody wanted"
    adapters = Adapters()
    try:
        for document in documents:
            jobs, far = waiting[document.ref], here.far(document.ref)
            found = document.check(far, jobs)
            figures.counts["found delivered"] += found["delivered"]
            figures.counts["found in the spool"] += found["spooled"]
            for job in reversed(jobs):  # the newest is the one that counts
                done = await _deliver(here, spool, adapters, document, job)
                figures.counts["delivered from the spool"] += done
            if jobs:
                again = here.far(document.ref)
                assert document.check(again, ()) >= Counter({"delivered": found["spooled"]})
            document.settled(here.far(document.ref))
    finally:
        await adapters.aclose()
    assert spool.held() == []
    total = sum(each.requests for each in _accounts(here.home / "state")._accounts.values())
    assert total <= figures.counts["requests"], "counted what nobody asked"


def _waiting(here: Ground, spool: Spool, document: Document) -> list[Waiting]:
    found = []
    for each in spool.held():
        job = each.record.job
        if job.ref.lower() == document.ref:
            data = (here.home / "state" / "spool" / f"{each.number}.data").read_bytes()
            body = here.far(job.source) if job.kind is JobKind.COPY else data
            assert body is not None
            found.append(Waiting(each.number, job.kind, body, each.fault.doubtful))
    return found


async def _deliver(here: Ground, spool: Spool, adapters: Adapters, document: Document, job: Waiting) -> bool:
    """As `headrace spool retry N`, after a look; whether that changed the document."""
    held = spool.take(job.number)
    if held is None:
        return False  # over with a newer one
    before = here.far(document.ref)
    try:
        if document.adds and job.body in (before or b"").splitlines(keepends=True):
            return False
        catalogue = read_catalogue(here.home / "headrace.toml", text=here.straight)
        await deliver(catalogue, adapters, held)
    except HeadraceError as error:
        assert error.code == 555, repr(error)  # that, or a newer one, had been delivered
        assert here.far(document.ref) == before
        return False
    finally:
        held.drop()
    after = here.far(document.ref)
    assert after == ((before or b"") + job.body if document.adds else job.body)
    return after != before


def _accounts(state: Path) -> Accounts:
    return Accounts(state / "accounts.json", lambda: datetime.now(UTC))


def _check_files(state: Path) -> None:
    """After the last one has ended by itself: nothing lies about.

    A journal is one of SQLite's own files: who is killed as the file is made leaves it, and the next plays
    it back.
    """
    names = {each.name for each in state.iterdir()}
    beside = {f"{FILE_NAME}-{each}" for each in ("wal", "shm", "journal")}
    assert names <= {FILE_NAME, *beside, "accounts.json", "spool"}
    assert bool(_accounts(state)._day) == ("accounts.json" in names)
    with sqlite3.connect(state / FILE_NAME) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert list((state / "spool").iterdir()) == []
