"""Wish -> Outcome: build the call, fetch through the cache, lay out, and keep what was laid out."""

import asyncio
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from adapters import limits
from adapters.errors import FarFault, MayBeDone
from adapters.port import Call, Fetched
from gateway.catalogue.calls import build_call, ref_call
from gateway.catalogue.model import Catalogue, Source
from gateway.extract.pipeline import extract
from gateway.extract.plan import Plan, Sheet, Style
from gateway.service.caching.cache import Cache, Kept
from gateway.session.wishes import Outcome, PickWish, SourceWish, Wish

_HOT_KEY = tuple[int, tuple[str, ...], Style]


@dataclass(slots=True)
class _Hot:
    """What a repeated ASK needs: its call and key, and the sheet of the copy it was laid out from.

    `source` is held so that its id(), which the hot table is keyed by, stays its own.
    """

    source: Source
    call: Call
    key: str
    serial: int = -1
    sheet: Sheet | None = None


@dataclass(frozen=True, slots=True)
class _Question:
    """What is asked of the cache, and how its answer is laid out."""

    call: Call
    plan: Plan
    style: Style
    keep: float | None = None
    stale: float | None = None


class Answers:
    """Shared by all clients of one gateway."""

    def __init__(self, catalogue: Callable[[], Catalogue], cache: Cache) -> None:
        self._catalogue = catalogue
        self._cache = cache
        self._hot: OrderedDict[_HOT_KEY, _Hot] = OrderedDict()

    def now(self, wish: Wish) -> Outcome | None:
        """The outcome without waiting, where a fresh copy is laid out already; else None."""
        if not isinstance(wish, SourceWish) or wish.source.changes:
            return None
        hot = self._hot.get((id(wish.source), wish.args, wish.style))
        if hot is None or hot.sheet is None:
            return None
        kept = self._cache.peek(hot.call, wish.source.keep, hot.key)
        if kept is None or kept.serial != hot.serial:
            return None
        return _outcome(hot.sheet, kept, ())

    async def answer(self, wish: Wish, seconds: float) -> Outcome:
        """The outcome within `seconds`, or a HeadraceError."""
        if isinstance(wish, PickWish):
            call = ref_call(self._catalogue(), wish.ref)
            return await self._kept(_Question(call, wish.plan, wish.style), seconds)
        source = wish.source
        if source.changes:
            return await self._told(wish, seconds)
        hot_key = (id(source), wish.args, wish.style)
        hot = self._hot.get(hot_key)
        if hot is None:
            call = build_call(self._catalogue(), source, wish.args)
            hot = self._hot[hot_key] = _Hot(source, call, self._cache.key_of(call))
            if len(self._hot) > limits.HOT_ANSWERS:
                self._hot.popitem(last=False)
        else:
            self._hot.move_to_end(hot_key)
        question = _Question(hot.call, source.plan, wish.style, source.keep, source.stale)
        return await self._kept(question, seconds, hot)

    async def _kept(self, question: _Question, seconds: float, hot: _Hot | None = None) -> Outcome:
        started = time.perf_counter()
        key = hot.key if hot else None
        kept = await self._cache.get(question.call, seconds, question.keep, question.stale, key)
        if hot is not None and hot.sheet is not None and hot.serial == kept.serial:
            return _outcome(hot.sheet, kept, ())
        fetched_at = time.perf_counter()
        sheet = await _lay_out(kept.fetched, question.plan, question.style)
        if hot is not None:
            hot.serial, hot.sheet = kept.serial, sheet
        took = (("lay out", time.perf_counter() - fetched_at), ("whole", time.perf_counter() - started))
        return _outcome(sheet, kept, took)

    async def _told(self, wish: SourceWish, seconds: float) -> Outcome:
        """Through the cache too, which keeps nothing of a change but forgets what it makes old."""
        started = time.perf_counter()
        lines = None if wish.lines is None else wish.lines.encode()
        call = build_call(self._catalogue(), wish.source, wish.args, lines)
        fetched = (await self._cache.get(call, seconds, None, None)).fetched
        fetched_at = time.perf_counter()
        try:
            sheet = await _lay_out(fetched, wish.source.plan, wish.style)
        except FarFault as error:
            raise MayBeDone("Done, but its answer is not as expected") from error
        done = time.perf_counter()
        steps = (*fetched.steps, ("lay out", done - fetched_at), ("whole", done - started))
        return Outcome(sheet, fetched.origin, "told", 0.0, False, steps)


_INLINE: Final = 65_536  # a body up to this many bytes is laid out at once, a longer one beside the loop


async def _lay_out(fetched: Fetched, plan: Plan, style: Style) -> Sheet:
    if fetched.status in {204, 205}:
        return Sheet(plan.width, ())
    if len(fetched.body) <= _INLINE:
        return extract(fetched.body, fetched.media_type, fetched.charset, plan, style)
    return await asyncio.to_thread(extract, fetched.body, fetched.media_type, fetched.charset, plan, style)


def _outcome(sheet: Sheet, kept: Kept, steps: tuple[tuple[str, float], ...]) -> Outcome:
    return Outcome(
        sheet, kept.fetched.origin, kept.how.value, kept.age, kept.stale, (*kept.fetched.steps, *steps)
    )
