"""Wishes granted: through the cache, laid out once, and honest about changes."""

import asyncio
import threading
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import FarBusy, MayBeDone, NotPossible, NotThere, WrongDocument
from adapters.port import Call, Fetched, Freshness
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue
from gateway.extract.plan import Style
from gateway.service.adapters import Adapters
from gateway.service.answers import Answers
from gateway.service.caching.cache import Cache
from gateway.service.files.desk import FileDesk
from gateway.service.files.jobs import Jobs
from gateway.service.files.spooling import SpoolRoom
from gateway.service.layouts import Layouts
from gateway.service.streams.calls import Calls
from gateway.session.picking import pick_plan
from gateway.session.wishes import (
    CallerWish,
    CounterWish,
    HearWish,
    LoginWish,
    Outcome,
    PickWish,
    SourceWish,
    Wish,
    Worked,
    WorkWish,
)
from gateway.wire.settings import Settings

TEXT = """
[gateway]
letters = { "ü" = "ue" }
[place.far]
base = "https://far.example/data/"
[source.kept]
url = "https://far.example/data/list.json"
keep = "1h"
stale = "1d"
rows = "$[*]"
[[source.kept.field]]
name = "NAME"
at = "$.name"
width = 6
[source.change]
url = "https://far.example/data/list.json"
method = "POST"
body = { a = 1 }
rows = "$[*]"
[[source.change.field]]
name = "NAME"
at = "$.name"
width = 6
[source.wrong]
url = "https://far.example/data/list.json"
format = "xml"
[[source.wrong.field]]
name = "NAME"
at = "name"
width = 6
"""
STYLE = Style()
USUAL = Fetched('[{"name":"Müller"}]'.encode(), "application/json")


class Far:
    """A far server whose next answers are scripted; `calls` are what it was asked."""

    def __init__(self) -> None:
        self.calls: list[Call] = []
        self.answers: list[Fetched | Exception] = []

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        self.calls.append(call)
        await asyncio.sleep(0)
        answer = (
            self.answers.pop(0)
            if self.answers
            else Fetched(b'[{"name":"M\xc3\xbcller"}]', "application/json")
        )
        if isinstance(answer, Exception):
            raise answer
        return answer


class Clock:
    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


class Parts:
    def __init__(self) -> None:
        self.catalogue: Catalogue = load_catalogue(TEXT, "test.toml", lambda _: None)
        self.far, self.clock = Far(), Clock()
        layouts, room = Layouts(), SpoolRoom(Path("never-made"))
        self.layouts = layouts
        desk = FileDesk(lambda: self.catalogue, Adapters(), room.opened, Jobs(), layouts)
        cache = Cache(self.far.fetch, None, self.clock)
        self.answers = Answers(
            lambda: self.catalogue, cache, desk, layouts, Calls(lambda: self.catalogue, Adapters())
        )

    async def answer(self, wish: Wish, seconds: float = 5) -> Outcome:
        outcome = await self.answers.answer(wish, seconds)
        assert isinstance(outcome, Outcome)
        return outcome

    def now(self, wish: Wish) -> Outcome | None:
        outcome = self.answers.now(wish)
        assert outcome is None or isinstance(outcome, Outcome)
        return outcome

    def wish(self, name: str, style: Style = STYLE) -> SourceWish:
        return SourceWish(self.catalogue.sources[name], (), style)


@pytest.fixture
async def parts() -> AsyncIterator[Parts]:
    made = Parts()
    yield made
    await made.layouts.aclose()


async def test_what_was_laid_out_is_ready_the_next_time(parts: Parts) -> None:
    wish = parts.wish("KEPT")
    assert parts.now(wish) is None
    first = await parts.answer(wish)
    assert [record.text for record in first.sheet.records] == ["Muelle"]
    parts.clock.now += 60
    again = parts.now(wish)
    assert again is not None
    assert again.sheet is first.sheet
    assert (again.how, again.age) == ("memory", 60)
    assert len(parts.far.calls) == 1


async def test_another_style_is_laid_out_anew_from_the_same_copy(parts: Parts) -> None:
    await parts.answer(parts.wish("KEPT"))
    latin = parts.wish("KEPT", Style("latin1"))
    assert parts.now(latin) is None
    outcome = await parts.answer(latin)
    assert len(parts.far.calls) == 1
    assert [record.text for record in outcome.sheet.records] == ["Müller"]


async def test_a_copy_out_of_date_is_fetched_and_laid_out_anew(parts: Parts) -> None:
    wish = parts.wish("KEPT")
    await parts.answer(wish)
    parts.clock.now += 3_601
    assert parts.now(wish) is None
    parts.far.answers = [Fetched(b'[{"name":"new"}]', "application/json")]
    outcome = await parts.answer(wish)
    assert [record.text for record in outcome.sheet.records] == ["new   "]
    parts.clock.now += 3_601
    parts.far.answers = [FarBusy()]
    outcome = await parts.answer(wish)
    assert outcome.stale
    assert [record.text for record in outcome.sheet.records] == ["new   "]


async def test_a_new_catalogue_is_never_answered_from_the_old_layout(parts: Parts) -> None:
    await parts.answer(parts.wish("KEPT"))
    parts.catalogue = load_catalogue(TEXT.replace("width = 6", "width = 3"), "test.toml", lambda _: None)
    assert parts.now(parts.wish("KEPT")) is None
    outcome = await parts.answer(parts.wish("KEPT"))
    assert [record.text for record in outcome.sheet.records] == ["Mue"]


async def test_many_at_once_are_one_fetch(parts: Parts) -> None:
    outcomes = await asyncio.gather(*(parts.answer(parts.wish("KEPT")) for _ in range(100)))
    assert len(parts.far.calls) == 1
    assert {outcome.sheet.records[0].text for outcome in outcomes} == {"Muelle"}


async def test_a_change_is_sent_each_time_and_makes_the_copy_old(parts: Parts) -> None:
    await parts.answer(parts.wish("KEPT"))
    for _ in range(2):
        assert parts.now(parts.wish("CHANGE")) is None
        assert (await parts.answer(parts.wish("CHANGE"))).how == "fetched"
    assert parts.now(parts.wish("KEPT")) is None
    await parts.answer(parts.wish("KEPT"))
    assert [call.method for call in parts.far.calls] == ["GET", "POST", "POST", "GET"]


async def test_an_unreadable_answer_to_a_change_is_558(parts: Parts) -> None:
    parts.far.answers = [Fetched(b"not json", "application/json")]
    with pytest.raises(MayBeDone):
        await parts.answer(parts.wish("CHANGE"))
    parts.far.answers = [Fetched(b"", "", status=204)]
    assert (await parts.answer(parts.wish("CHANGE"))).sheet.records == ()


async def test_faults_come_through(parts: Parts) -> None:
    parts.far.answers = [NotThere()]
    with pytest.raises(NotThere):
        await parts.answer(parts.wish("KEPT"))
    with pytest.raises(WrongDocument):
        await parts.answer(parts.wish("WRONG"))


async def test_pick(parts: Parts) -> None:
    plan, ref = pick_plan("$[*]", ["$.NAME:5"]), read_ref(parts.catalogue, "far:list.json")
    outcome = await parts.answer(PickWish(ref, plan, STYLE))
    assert [record.text for record in outcome.sheet.records] == ["Mulle"]
    assert parts.far.calls[0].url == "https://far.example/data/list.json"
    assert parts.now(PickWish(ref, plan, STYLE)) is None


async def test_a_large_document_is_laid_out_beside_the_loop(parts: Parts) -> None:
    body = b"[" + b",".join(b'{"name":"%d"}' % number for number in range(20_000)) + b"]"
    parts.far.answers = [Fetched(body, "application/json", freshness=Freshness(max_age=60))]
    ticks = 0

    async def tick() -> None:
        nonlocal ticks
        while True:
            await asyncio.sleep(0.001)
            ticks += 1

    ticking = asyncio.create_task(tick())
    outcome = await parts.answer(parts.wish("KEPT"), 20)
    ticking.cancel()
    assert len(outcome.sheet.records) == 20_000
    assert ticks >= 3


async def test_work_is_done_beside_the_loop_where_it_is_much(parts: Parts) -> None:
    for size in (1, 1_000_000):
        worked = await parts.answers.answer(WorkWish(size, threading.get_ident), 5)
        assert isinstance(worked, Worked)
        assert (worked.result == threading.get_ident()) == (size == 1)


@pytest.mark.parametrize(
    "wish", [HearWish(1), CallerWish(1), LoginWish("ANNA", "x"), CounterWish(Ref("file:///a/"), Settings())]
)
async def test_what_others_answer_is_not_possible_without_them(parts: Parts, wish: Wish) -> None:
    with pytest.raises(NotPossible):
        await parts.answers.answer(wish, 1)


async def test_a_sheet_too_large_to_be_kept_is_shared_while_somebody_reads_it(
    parts: Parts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "SHEET_BYTES", 1)
    read = await parts.answer(parts.wish("KEPT"))
    assert (await parts.answer(parts.wish("KEPT"))).sheet is read.sheet
    assert len(parts.far.calls) == 1
