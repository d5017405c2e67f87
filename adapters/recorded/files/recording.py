"""Operations on documents and folders, passed on to the adapter that does them, and a recording of each.

What is written is copied as it is sent, and copied whole where the far server did not want all of it, since
that is what was asked for. A reader that leaves early leaves a part, which is all that can be played of it.
Refusals that the gateway makes by itself are not kept, nor is what a client gives up.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import TypeVar

from adapters.errors import HeadraceError, MayBeDone, NotAllowed, NotPossible, TooSlow
from adapters.files import (
    Ability,
    Condition,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Written,
)
from adapters.port import Adapter, Call, Fetched
from adapters.recorded.asking import REQUEST, is_late
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Asked, Failure, Told
from adapters.recorded.failures import failure_of
from adapters.recorded.ports import Draft, Recorder

Done = TypeVar("Done")


class RecordingFiles(FileAdapter):
    """`inner` with a `recorder` that takes in what it is asked and what it answers."""

    def __init__(self, inner: FileAdapter, recorder: Recorder) -> None:
        self._inner = inner
        self._recorder = recorder

    def abilities(self, target: Target) -> Ability:
        """The inner adapter's."""
        return self._inner.abilities(target)

    async def list(self, target: Target, seconds: float) -> Listing:
        """As the inner adapter lists; entries and where they are, are kept."""
        return await self._noted(
            Asked("LIST", target.url),
            lambda: self._inner.list(target, seconds),
            lambda listing: Told(listing=replace(listing, steps=())),
        )

    async def stat(self, target: Target, seconds: float) -> Stat:
        """As the inner adapter says."""
        return await self._noted(
            Asked("STAT", target.url),
            lambda: self._inner.stat(target, seconds),
            lambda stat: Told(stat=stat),
        )

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """As the inner adapter reads; what was read is kept when its reader leaves."""
        asked = Asked("READ", target.url, offset=offset, count=count, request=REQUEST.get())
        draft = self._recorder.draft()
        tee: _Tee | None = None
        try:
            async with self._inner.read(target, offset, count, seconds) as reading:
                tee = _Tee(reading, draft)
                yield replace(reading, chunks=tee.chunks())
        except asyncio.CancelledError:
            draft.drop()
            raise
        except HeadraceError as fault:
            if tee is None:
                _keep_failure(draft, asked, fault)
            raise
        finally:  # what its reader has seen until it left, for whatever reason, is what it is
            if tee is not None:
                draft.keep(asked, tee.told())
            draft.drop()

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """As the inner adapter writes."""
        return await self._sent(
            Asked("WRITE", target.url),
            upload,
            lambda sent: self._inner.write(target, sent, condition, seconds),
        )

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """As the inner adapter appends."""
        return await self._sent(
            Asked("APPEND", target.url),
            upload,
            lambda sent: self._inner.append(target, sent, condition, seconds),
        )

    async def erase(self, target: Target, seconds: float) -> None:
        """As the inner adapter erases."""
        await self._noted(
            Asked("ERASE", target.url), lambda: self._inner.erase(target, seconds), lambda _: Told()
        )

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """As the inner adapter renames."""
        await self._noted(
            Asked("RENAME", target.url, to=to.url),
            lambda: self._inner.rename(target, to, seconds),
            lambda _: Told(),
        )

    async def make_folder(self, target: Target, seconds: float) -> None:
        """As the inner adapter makes folders."""
        await self._noted(
            Asked("MKDIR", target.url), lambda: self._inner.make_folder(target, seconds), lambda _: Told()
        )

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """As the inner adapter copies."""
        return await self._noted(
            Asked("COPY", target.url, to=to.url),
            lambda: self._inner.copy(target, to, seconds),
            lambda written: Told(written=replace(written, steps=())),
        )

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """As the inner adapter fetches, kept as the reading of a whole document."""
        return await noted_fetch(self._inner, self._recorder, call, seconds)

    async def aclose(self) -> None:
        """Close the inner adapter."""
        await self._inner.aclose()

    async def _sent(
        self, asked: Asked, upload: Upload, work: Callable[[Upload], Awaitable[Written]]
    ) -> Written:
        with Copied(upload.chunks, upload.chunks if upload.repeatable else None) as copied:
            return await self._noted(
                asked,
                lambda: work(replace(upload, chunks=copied.__aiter__)),
                lambda written: Told(written=replace(written, steps=())),
                copied,
            )

    async def _noted(
        self,
        asked: Asked,
        work: Callable[[], Awaitable[Done]],
        told: Callable[[Done], Told],
        copied: Copied | None = None,
    ) -> Done:
        """`copied` is the body of what was asked when the work is done; nothing is kept without all of it."""
        asked = replace(asked, request=REQUEST.get())
        draft = self._recorder.draft()

        def whole() -> Asked:
            if copied is None:
                return asked
            if copied.failed:
                draft.drop()
            return replace(asked, body=copied.content())

        try:
            done = await work()
        except HeadraceError as fault:
            if copied is not None:
                await copied.complete()
            _keep_failure(draft, whole(), fault)
            raise
        else:
            draft.keep(whole(), told(done))
            return done
        finally:
            draft.drop()


def _keep_failure(draft: Draft, asked: Asked, fault: HeadraceError) -> None:
    """An error is kept, unless it is the gateway's own: a rule, or what no adapter of the kind can do."""
    if not isinstance(fault, NotAllowed) and not (isinstance(fault, NotPossible) and not fault.far):
        draft.keep(asked, _failure_of(fault))


def _failure_of(fault: HeadraceError) -> Failure:
    return failure_of(fault, sent=isinstance(fault, MayBeDone))


async def noted_fetch(inner: Adapter, recorder: Recorder, call: Call, seconds: float) -> Fetched:
    """What `inner` fetches, kept as the reading of a whole document."""
    asked = Asked("READ", call.url, request=REQUEST.get())
    draft = recorder.draft()
    try:
        fetched = await inner.fetch(call, seconds)
    except asyncio.CancelledError as cancelled:
        if is_late(cancelled):
            _keep_failure(draft, asked, TooSlow())
        raise
    except HeadraceError as fault:
        _keep_failure(draft, asked, fault)
        raise
    else:
        draft.add(fetched.body)
        stat = Stat(
            Kind.FILE,
            len(fetched.body),
            validators=fetched.validators,
            media_type=fetched.media_type,
            charset=fetched.charset,
            origin=fetched.origin,
        )
        draft.keep(asked, Told(stat=stat, content=draft.content(), size=len(fetched.body)))
        return fetched
    finally:
        draft.drop()


class RecordingFetch:
    """The same for an adapter without documents and folders."""

    def __init__(self, inner: Adapter, recorder: Recorder) -> None:
        self._inner = inner
        self._recorder = recorder

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """As the inner adapter fetches."""
        return await noted_fetch(self._inner, self._recorder, call, seconds)

    async def aclose(self) -> None:
        """Close the inner adapter."""
        await self._inner.aclose()


class _Tee:
    """A reading, its bytes going to a draft as well."""

    def __init__(self, reading: Reading, draft: Draft) -> None:
        self._reading = reading
        self._draft = draft
        self._failure: Failure | None = None

    async def chunks(self) -> AsyncIterator[bytes]:
        """The reading's bytes."""
        try:
            async for chunk in self._reading.chunks:
                self._draft.add(chunk)
                yield chunk
        except HeadraceError as fault:
            self._failure = _failure_of(fault)
            raise

    def told(self) -> Told:
        reading = self._reading
        return Told(
            stat=reading.stat,
            content=self._draft.content(),
            offset=reading.offset,
            size=reading.size,
            digest=reading.digest,
            failure=self._failure,
        )
