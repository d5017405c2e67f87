"""Call -> Kept: one shared cache before all adapters, in memory and on disk, by the terms of RFC 9111.

A fresh copy answers without asking. Otherwise the far server is asked once for all who wait, with the
copy's validators where it has some (section 4.3). When the far server fails, a copy may stand in for it
as long as the catalogue's `stale` allows (RFC 5861 section 4), and the server is left alone for a while.

It is one user's cache: a response that may not be stored (no-store) still answers everybody who asked
for the same thing, with the same credentials, while it was under way.
"""

import asyncio
import itertools
import logging
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from adapters import limits
from adapters.errors import (
    AskedTooOften,
    BrokenOff,
    CannotConnect,
    CredentialsRefused,
    FarBusy,
    FarFault,
    MayBeDone,
    NotThere,
    TooSlow,
)
from adapters.port import Call, Fetched, Validators
from gateway.service.caching.absent import Absent
from gateway.service.caching.flights import Flight, Flights
from gateway.service.caching.freshness import (
    Copy,
    Keeping,
    age,
    answers_for,
    is_fresh,
    keeping,
    may_serve_stale,
    refreshed,
    same_document,
    wanted_later,
)
from gateway.service.caching.keys import key_of, place_of
from gateway.service.caching.pauses import Pauses
from gateway.service.caching.store import Store

_log = logging.getLogger(__name__)

Fetch = Callable[[Call, float], Awaitable[Fetched]]
"""What asks the far server: (call, seconds) -> Fetched, or a HeadraceError."""

PASSING: Final = (TooSlow, CannotConnect, BrokenOff, FarBusy, AskedTooOften)
"""Failures that a stale copy may stand in for. A bad certificate, a refusal, 403, 404 or 410 is an answer."""

SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS", "TRACE", "PROPFIND", "REPORT", "SEARCH"})
"""Methods that change nothing: RFC 9110 section 9.2.1, RFC 4918 section 9.1, RFC 3253, RFC 5323."""


class How(Enum):
    """Where an answer came from, in the word that WHY shows."""

    FETCHED = "fetched"
    FRESH_MEMORY = "memory"
    FRESH_DISK = "disk"
    REVALIDATED = "revalidated"
    STALE = "stale"


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer and what is known of it.

    `age` is in seconds since the copy arrived or was last validated. `stale`: the far server failed and
    this stands in. `serial` stands for exactly this document, as long as the process lives: what was laid
    out for (key, serial) may be used again. A document found unchanged keeps its serial.
    """

    fetched: Fetched
    age: float
    stale: bool
    how: How
    key: str
    serial: int


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    copy: Copy
    serial: int


@dataclass(frozen=True, slots=True)
class _Answer:
    held: _Held
    how: How
    steps: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class _Question:
    """What one asker wants; `held` is the copy at hand, and `ends` its deadline on the loop's clock."""

    call: Call
    key: str
    held: _Held | None
    keep: float | None
    stale: float | None
    seconds: float
    ends: float
    forgotten: int

    @property
    def margin(self) -> float:
        """Seconds before the deadline at which a stale copy is served, so that the reply is in time."""
        return min(limits.STALE_MARGIN_SECONDS, self.seconds / 4)

    @property
    def span(self) -> float:
        """Seconds that a shared fetch may take: whoever boards in its first half has all its own time."""
        return max(limits.FLIGHT_SECONDS, 2 * self.seconds)

    def left(self) -> float:
        """Seconds until the deadline."""
        return self.ends - asyncio.get_running_loop().time()


class Cache:
    """Shared by all clients of one gateway; every method belongs to the event loop's thread.

    `clock` tells epoch seconds. `store` is closed with the cache. Nothing is read before it is asked for.
    """

    def __init__(
        self,
        fetch: Fetch,
        store: Store | None,
        clock: Callable[[], float],
        memory_bytes: int = limits.CACHE_BYTES,
    ) -> None:
        self._fetch = fetch
        self._store = store
        self._clock = clock
        self._limit = memory_bytes
        self._held: OrderedDict[str, _Held] = OrderedDict()
        self._bytes = 0
        self._serials = itertools.count(1)
        self._loads: Flights[_Held | None] = Flights()
        self._fetches: Flights[_Answer] = Flights()
        self._pauses = Pauses(clock)
        self._absent = Absent(clock)
        self._forgotten = 0  # how often something was forgotten: work begun before then is not kept

    key_of = staticmethod(key_of)

    @property
    def memory_bytes(self) -> int:
        """What the copies in memory take up."""
        return self._bytes

    def peek(self, call: Call, keep: float | None, key: str | None = None) -> Kept | None:
        """The answer if a fresh copy is in memory, at once; `key` is key_of(call) where it is known."""
        if call.changes or call.method != "GET":
            return None
        if key is None:
            key = key_of(call)
        held = self._held.get(key)
        if held is None:
            return None
        now = self._clock()
        if not is_fresh(held.copy, now, keep):
            return None
        self._held.move_to_end(key)
        return Kept(held.copy.fetched, age(held.copy, now), False, How.FRESH_MEMORY, key, held.serial)

    async def get(
        self, call: Call, seconds: float, keep: float | None, stale: float | None, key: str | None = None
    ) -> Kept:
        """The answer within `seconds`, or a HeadraceError.

        `keep`: seconds for which a copy is fresh, whatever the server says; None: what it says, and
        without its word every asker asks. `stale`: seconds past that for which a copy may stand in for a
        server that fails. `call.validators` are the cache's own business. Calls that change something,
        and methods other than GET, pass through, and what they may have changed is forgotten.
        """
        if call.changes or call.method != "GET":
            return await self._pass(call, seconds)
        if key is None:
            key = key_of(call)
        kept = self.peek(call, keep, key)
        if kept is not None:
            return kept
        ends = asyncio.get_running_loop().time() + seconds
        forgotten = self._forgotten
        held = self._held.get(key)
        if held is None and self._store is not None and not self._absent.get(key):
            held = await self._load(key, self._store, seconds)
            now = self._clock()
            if held is not None and is_fresh(held.copy, now, keep):
                return self._kept(key, held, How.FRESH_DISK, now)
        return await self._ask(_Question(call, key, held, keep, stale, seconds, ends, forgotten))

    def forget(self, url: str) -> None:
        """Forget every answer from `url`, with any query: it was, or may have been, changed.

        RFC 9111 section 4.4 asks it for the URL itself and allows more; a score posted to `/scores` shows
        in `/scores?top=3` too. Fetches under way still answer who asked before, and are not kept.
        """
        place = place_of(url)
        self._forgotten += 1
        self._fetches.detach(place)
        for key in [each for each in self._held if each.startswith(place)]:
            self._remove(key)
        if self._store is not None:
            self._store.forget(place)

    async def aclose(self) -> None:
        """Cancel what is under way, finish what is being written, close the store."""
        await self._loads.aclose()
        await self._fetches.aclose()
        if self._store is not None:
            await self._store.aclose()

    async def _pass(self, call: Call, seconds: float) -> Kept:
        unsafe = call.changes or call.method not in SAFE_METHODS
        try:
            fetched = await self._fetch(call, seconds)
        except (MayBeDone, asyncio.CancelledError):
            if unsafe:
                self.forget(call.url)
            raise
        if unsafe:
            self.forget(call.url)
        return Kept(fetched, 0.0, False, How.FETCHED, key_of(call), next(self._serials))

    async def _load(self, key: str, store: Store, seconds: float) -> _Held | None:
        patience = min(limits.STORE_LOAD_SECONDS, seconds / 4)

        async def work(_: Flight[_Held | None]) -> _Held | None:
            forgotten = self._forgotten
            copy = await store.load(key, patience)
            held = self._held.get(key)
            if copy is None:
                self._absent.note(key)
            if held is not None or copy is None or self._forgotten != forgotten:
                return held
            held = _Held(copy, next(self._serials))
            self._put(key, held)
            return held

        try:
            return await self._loads.share(key, work, patience + limits.STALE_MARGIN_SECONDS)
        except TimeoutError:
            return None

    async def _ask(self, question: _Question) -> Kept:
        """Ask the far server, together with others; a stale copy stands in where it may."""
        key = question.key
        pause = self._pauses.get(key)
        if pause is not None:
            kept = self._stand_in(question, "the far server failed lately", logging.DEBUG)
            if kept is not None:
                return kept
            if pause.wish is not None:
                raise pause.wish.fault(self._clock())
        since = self._fetches.since(key)
        late = since is not None and since + question.span < question.ends
        try:
            return await self._shared(question)
        except TooSlow:
            # Who boards late may see the fetch end at its own limit, and still have time for another.
            if not late or question.left() < question.margin:
                raise
        return await self._shared(question)

    async def _shared(self, question: _Question) -> Kept:
        key = question.key
        patience = question.left()
        if self._usable(question) is not None:
            patience -= question.margin

        async def work(flight: Flight[_Answer]) -> _Answer:
            return await self._ask_far(question, flight)

        fault: FarFault
        try:
            wanted = wanted_later(question.keep, question.stale)
            answer = await self._fetches.share(key, work, patience, wanted=wanted)
        except TimeoutError:
            fault = TooSlow()
            if self._fetches.since(key) is None:  # the last one out: nobody waits for it any longer
                self._pauses.note(key, fault)
        except PASSING as failed:
            fault = failed
        else:
            kept = self._kept(key, answer.held, answer.how, self._clock())
            return replace(kept, fetched=replace(kept.fetched, steps=answer.steps))
        stale = self._stand_in(question, fault.sentence, logging.INFO)
        if stale is None:
            raise fault
        return stale

    async def _ask_far(self, question: _Question, flight: Flight[_Answer]) -> _Answer:
        """The work that all askers of one key share; `question` is the first one's."""
        key, before = question.key, question.held
        forgotten = self._forgotten
        validators = before.copy.fetched.validators if before is not None else Validators()
        ends = asyncio.get_running_loop().time() + question.span
        asked = self._clock()
        try:
            answer = await self._fetch(replace(question.call, validators=validators), question.span)
            how = How.FETCHED
            if answer.not_modified and before is not None and answers_for(validators, answer.validators):
                answer = refreshed(before.copy.fetched, answer)
                how = How.REVALIDATED
            elif answer.not_modified and validators:  # it speaks of another document: ask for the whole
                asked = self._clock()
                left = ends - asyncio.get_running_loop().time()
                answer = await self._fetch(replace(question.call, validators=Validators()), left)
            if answer.not_modified:
                raise FarBusy("The far server's answer makes no sense")
        except PASSING as fault:
            self._pauses.note(key, fault)
            raise
        except (NotThere, CredentialsRefused):
            self._drop(key)  # an answer, and no copy is like it (RFC 9111 section 4.3.3)
            raise
        self._pauses.clear(key)
        now = self._clock()
        copy = Copy(replace(answer, steps=()), now, max(0.0, now - asked))
        same = before is not None and same_document(before.copy.fetched, answer)
        held = _Held(copy, before.serial if before is not None and same else next(self._serials))
        if self._forgotten == forgotten:
            self._keep(key, held, keeping(answer, flight.wanted), known=before is not None)
        return _Answer(held, how, answer.steps)

    def _kept(self, key: str, held: _Held, how: How, now: float) -> Kept:
        return Kept(held.copy.fetched, age(held.copy, now), how is How.STALE, how, key, held.serial)

    def _usable(self, question: _Question) -> _Held | None:
        """The copy that may stand in for a failing server now, or None."""
        held = self._held.get(question.key)
        if held is None and self._forgotten == question.forgotten:
            held = question.held  # too large for memory, or used out of it meanwhile
        if held is None or not may_serve_stale(held.copy, self._clock(), question.keep, question.stale):
            return None
        return held

    def _stand_in(self, question: _Question, why: str, level: int) -> Kept | None:
        held = self._usable(question)
        if held is None:
            return None
        kept = self._kept(question.key, held, How.STALE, self._clock())
        if _log.isEnabledFor(level):
            told = {"origin": kept.fetched.origin, "age": int(kept.age), "why": why}
            _log.log(level, "a stale copy was served", extra=told)
        return kept

    def _keep(self, key: str, held: _Held, where: Keeping, *, known: bool) -> None:
        if where is Keeping.NOWHERE:
            if known:
                self._drop(key)
            return
        self._put(key, held)
        if self._store is None:
            return
        if where is Keeping.DISK:
            self._absent.clear(key)
            self._store.save(key, held.copy)
        else:
            self._store.forget(key)

    def _put(self, key: str, held: _Held) -> None:
        self._remove(key)
        if _size(held) > self._limit:
            return
        self._held[key] = held
        self._bytes += _size(held)
        while self._bytes > self._limit:
            _, oldest = self._held.popitem(last=False)
            self._bytes -= _size(oldest)

    def _remove(self, key: str) -> None:
        held = self._held.pop(key, None)
        if held is not None:
            self._bytes -= _size(held)

    def _drop(self, key: str) -> None:
        self._remove(key)
        if self._store is not None:
            self._store.forget(key)


def _size(held: _Held) -> int:
    return len(held.copy.fetched.body) + limits.COPY_BYTES
