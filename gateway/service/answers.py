"""Wish -> Outcome: build the call, fetch through the cache, lay out, and keep what was laid out."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from adapters.errors import HeadraceError, MayBeDone, NotPossible
from adapters.port import Call
from adapters.recorded.asking import REQUEST
from gateway.catalogue.calling.calls import build_call, ref_call
from gateway.catalogue.model import Catalogue
from gateway.extract.plan import Plan, Sheet, Style
from gateway.service.caching.cache import Cache, Kept
from gateway.service.files.desk import FileDesk
from gateway.service.hot import Hot, HotAnswers, HotKey
from gateway.service.layouts import Layouts
from gateway.service.streams.calls import Calls
from gateway.session.wishes import (
    CallerWish,
    CallWish,
    CounterWish,
    DataWish,
    Granted,
    HearWish,
    LoginWish,
    Outcome,
    PickWish,
    SayWish,
    SourceWish,
    Wish,
    Worked,
    WorkWish,
)
from gateway.wire.words import join_words


@dataclass(frozen=True, slots=True)
class _Question:
    """What is asked of the cache, and how its answer is laid out. `ends` is on the performance counter."""

    call: Call
    plan: Plan
    style: Style
    ends: float
    keep: float | None = None
    stale: float | None = None

    @property
    def left(self) -> float:
        """Seconds until time is up."""
        return self.ends - time.perf_counter()


class Answers:
    """Shared by all clients of one gateway."""

    def __init__(
        self, catalogue: Callable[[], Catalogue], cache: Cache, desk: FileDesk, layouts: Layouts, calls: Calls
    ) -> None:
        self._catalogue = catalogue
        self._cache = cache
        self._desk = desk
        self._layouts = layouts
        self._calls = calls
        self._hot = HotAnswers()
        self._known: Catalogue | None = None

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting: where a fresh copy is laid out already, or bytes are taken in."""
        if isinstance(wish, DataWish):
            return self._desk.take(wish)
        if not isinstance(wish, SourceWish) or wish.source.changes:
            return None
        hot = self._hot.get((id(wish.source), wish.args, wish.style))
        if hot is None or hot.sheet is None:
            return None
        kept = self._cache.peek(hot.call, wish.source.keep, hot.key)
        if kept is None or kept.serial != hot.serial:
            return None
        return _outcome(hot.sheet, kept, ())

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """What was wished for within `seconds`, or a HeadraceError."""
        REQUEST.set(_request_of(wish))
        if isinstance(wish, CallWish | SayWish):
            return await self._calls.answer(wish, seconds)
        if isinstance(wish, HearWish | CallerWish):
            raise NotPossible("No calls come in here")  # see callers.answers
        if isinstance(wish, CounterWish):
            raise NotPossible("No counter here; headrace serve has one")  # see counter.answers
        if isinstance(wish, LoginWish):
            raise NotPossible("Nobody logs in here; headrace serve has members")  # see members.answers
        if isinstance(wish, WorkWish):
            return Worked(await self._layouts.beside(wish.size, seconds, wish.work))
        if not isinstance(wish, SourceWish | PickWish):
            assert not isinstance(wish, DataWish)  # granted at once
            return await self._desk.answer(wish, seconds)
        ends = time.perf_counter() + seconds
        if isinstance(wish, PickWish):
            call = ref_call(self._catalogue(), wish.ref)
            question = _Question(call, wish.plan, wish.style, ends)
            kept, started = await self._fetched(question, None)
            return await self._laid_out(question, kept, started)
        if wish.source.changes:
            return await self._told(wish, ends)
        return await self._asked(wish, ends)

    async def _asked(self, wish: SourceWish, ends: float) -> Outcome:
        source, catalogue = wish.source, self._catalogue()
        if catalogue is not self._known:
            self._hot.clear()
            self._known = catalogue
        hot_key: HotKey = (id(source), wish.args, wish.style)
        hot = self._hot.get(hot_key)
        if hot is None:
            call = build_call(catalogue, source, wish.args)
            hot = Hot(source, call, self._cache.key_of(call))
            self._hot.add(hot_key, hot)
        question = _Question(hot.call, source.plan, wish.style, ends, source.keep, source.stale)
        kept, started = await self._fetched(question, hot.key)
        if hot.sheet is not None and hot.serial == kept.serial:
            return _outcome(hot.sheet, kept, ())
        shared = self._hot.in_use(hot_key, kept.serial)
        if shared is not None:
            return _outcome(shared, kept, ())
        outcome = await self._laid_out(question, kept, started)
        self._hot.lay(hot_key, kept.serial, outcome.sheet)
        return outcome

    async def _fetched(self, question: _Question, key: str | None) -> tuple[Kept, float]:
        """The kept copy, and when it was asked for."""
        started = time.perf_counter()
        kept = await self._cache.get(question.call, question.left, question.keep, question.stale, key)
        return kept, started

    async def _laid_out(self, question: _Question, kept: Kept, started: float) -> Outcome:
        fetched_at = time.perf_counter()
        sheet = await self._layouts.lay_out(kept.fetched, question.plan, question.style, question.left)
        done = time.perf_counter()
        return _outcome(sheet, kept, (("lay out", done - fetched_at), ("whole", done - started)))

    async def _told(self, wish: SourceWish, ends: float) -> Outcome:
        """Through the cache too, which keeps nothing of a change but forgets what it makes old."""
        lines = None if wish.lines is None else wish.lines.encode()
        call = build_call(self._catalogue(), wish.source, wish.args, lines)
        question = _Question(call, wish.source.plan, wish.style, ends)
        kept, started = await self._fetched(question, None)
        try:
            return await self._laid_out(question, kept, started)
        except HeadraceError as error:
            raise MayBeDone("Done, but its answer is not as expected") from error


def _request_of(wish: Wish) -> str:
    """What a recording notes of it: a source's whole request; nothing of others, whose URL says it all."""
    if not isinstance(wish, SourceWish):
        return ""
    word = "TELL" if wish.source.changes else "ASK"
    return join_words([word, wish.source.name, *wish.args])


def _outcome(sheet: Sheet, kept: Kept, steps: tuple[tuple[str, float], ...]) -> Outcome:
    return Outcome(
        sheet, kept.fetched.origin, kept.how.value, kept.age, kept.stale, (*kept.fetched.steps, *steps)
    )
