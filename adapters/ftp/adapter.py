"""Target -> entries, bytes or a change made whole, over FTP or FTPS (RFC 959, RFC 3659, RFC 4217).

Every operation goes to the folder with CWD, each time anew, and names things in it by their bare names: none
can be taken for an option, and a kept login that was closed meanwhile shows before anything is changed.

A change is prepared under a temporary name (adapters.ftp.writing). FTP has no way to change something only if
it is still the same, so conditions are looked at twice, at the start and just before the rename; between that
look and the rename somebody else's change could be lost. An append is made of the old bytes, kept on the
gateway meanwhile (in memory up to limits.STAGE_BYTES, then in a file), and the new ones: APPE would leave
half of them on a broken line. Times of conditions are whole seconds, as MDTM tells them.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime

from adapters import limits
from adapters.addresses import Resolver
from adapters.errors import (
    ChangedMeanwhile,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    WrongDocument,
    happened_at,
)
from adapters.files import (
    A_DOCUMENT,
    A_FOLDER,
    ALREADY_THERE,
    NO_FOLDER,
    NOT_EMPTY,
    ROOT_STAYS,
    Ability,
    Condition,
    FileAdapter,
    Kind,
    Listing,
    Reading,
    Stat,
    Target,
    Upload,
    Was,
    Written,
)
from adapters.ftp.folders import entries, look, needed, utc_now
from adapters.ftp.link.deadline import Deadline
from adapters.ftp.link.login import Login, named, refusal
from adapters.ftp.link.logins import Logins
from adapters.ftp.locations import Location, Path, located
from adapters.ftp.reading import opened
from adapters.ftp.writing import Aside, Unanswered, act, check, probe, replace_by_rename, settled, store
from adapters.resolver import SystemResolver
from adapters.spooled import Spooled


@dataclass(slots=True)
class _Work:
    """One operation under way."""

    target: Target
    location: Location
    deadline: Deadline
    steps: dict[str, float] = field(default_factory=dict)

    @property
    def path(self) -> Path:
        return self.location.path

    @property
    def name(self) -> bytes:
        return self.location.path.name

    def patience(self) -> float:
        """For the reply to a change: half of what is left, so that there is time to look at what became."""
        return min(limits.STALL_SECONDS, self.deadline.left() / 2)

    def told(self) -> tuple[tuple[str, float], ...]:
        return tuple(self.steps.items())


class FtpAdapter(FileAdapter):
    """The adapter for `ftp` and `ftps`; one instance serves both and all clients, in one event loop.

    `resolve` and `now` are the outside world, for tests to replace.
    """

    can = (
        Ability.LIST
        | Ability.STAT
        | Ability.READ
        | Ability.RANGE
        | Ability.WRITE
        | Ability.APPEND
        | Ability.ERASE
        | Ability.RENAME
        | Ability.MAKE_FOLDER
    )

    def __init__(self, resolve: Resolver | None = None, now: Callable[[], datetime] = utc_now) -> None:
        self.logins = Logins(resolve or SystemResolver())
        self._now = now
        self._cleaning: set[asyncio.Task[None]] = set()

    async def list(self, target: Target, seconds: float) -> Listing:
        """NotThere for a folder that CWD refuses, WrongDocument where that is a document."""
        async with self._work(target, seconds) as work:
            try:
                async with self._at(work, work.path) as login:
                    found, partial = await entries(login, self._now)
            except NotThere:
                if work.name and await self._is_document(work):
                    raise WrongDocument(A_DOCUMENT) from None
                raise
            return Listing(found, partial, origin=str(work.location.server), steps=work.told())

    async def stat(self, target: Target, seconds: float) -> Stat:
        """MLST, or SIZE and MDTM, or CWD, or the entry in the parent's listing."""
        async with self._work(target, seconds) as work, self._at(work, work.path.parent) as login:
            return await needed(login, work.path.parent, work.name, self._now)

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        """RETR, with REST for an offset; stopped early by closing the data connection."""
        async with (
            self._work(target, seconds) as work,
            self._at(work, work.path.parent, reading=True) as login,
        ):
            stat = await needed(login, work.path.parent, work.name, self._now)
            if stat.kind is not Kind.FOLDER and target.names_folder:
                raise WrongDocument(A_DOCUMENT)
            async with opened(login, work.name, stat, offset, count, steps=work.told) as reading:
                yield reading

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """STOR to a temporary name, then a rename. See adapters.ftp.writing for what is certain when."""
        async with self._work(target, seconds) as work:
            self._no_folder(work)
            return await self._write(work, upload, condition)

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """The old bytes and the new ones, written as one document."""
        async with self._work(target, seconds) as work:
            self._no_folder(work)
            async with Spooled() as spool:
                old = await self._spool(work, spool, condition)
                if old is None:
                    return await self._write(work, upload, Was.NOTHING)
                joined = Upload(
                    lambda: spool.followed_by(upload.chunks()),
                    None if upload.size is None else spool.size + upload.size,
                    upload.repeatable,
                    upload.media_type,
                )
                written = await self._write(work, joined, old)
            return Written((written.size or 0) - spool.size, written.checked, work.told())

    async def erase(self, target: Target, seconds: float) -> None:
        """DELE, or RMD for a folder, which has to be empty."""
        async with self._work(target, seconds) as work:
            self._no_root(work)
            try:
                async with self._at(work, work.path.parent) as login:
                    await self._erase(login, work)
            except Unanswered as doubt:
                async with self._looking(work) as login:
                    if await look(login, work.path.parent, work.name, self._now) is None:
                        return
                raise MayBeDone from doubt.fault

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """RNFR and RNTO, after a look that nothing has the new name."""
        async with self._work(target, seconds) as work:
            self._no_root(work)
            goal = located(to)
            if goal.server != work.location.server:
                raise NotPossible("Only within one server")
            if goal.path == goal.root:
                raise NotAllowed(ROOT_STAYS)
            try:
                await self._rename(work, goal.path)
            except Unanswered as doubt:
                if await self._became(work, goal.path):
                    return
                raise MayBeDone from doubt.fault

    async def make_folder(self, target: Target, seconds: float) -> None:
        """MKD, after a look that nothing has the name."""
        async with self._work(target, seconds) as work:
            if not work.name:
                raise ChangedMeanwhile(ALREADY_THERE)
            folder = work.path.parent
            try:
                async with self._to_put(work, folder) as login:
                    if await look(login, folder, work.name, self._now) is not None:
                        raise ChangedMeanwhile(ALREADY_THERE)
                    await probe(login, work.name)
                    await act(login, named(b"MKD", work.name), work.patience(), placing=True)
            except Unanswered as doubt:
                async with self._looking(work) as login:
                    found = await look(login, folder, work.name, self._now)
                    if found is not None and found.kind is Kind.FOLDER:
                        return
                raise MayBeDone from doubt.fault

    async def aclose(self) -> None:
        """Close every kept login; what is being cleaned up is given a short time."""
        if self._cleaning:
            await asyncio.wait(self._cleaning, timeout=limits.LOGIN_CLEAN_SECONDS)
        for task in self._cleaning:
            task.cancel()
        await self.logins.aclose()

    # One operation

    @asynccontextmanager
    async def _work(self, target: Target, seconds: float) -> AsyncIterator[_Work]:
        """The target read and the clock started; errors leave with where they happened."""
        location = located(target)
        with happened_at(str(location.server)):
            work = _Work(target, location, Deadline.after(seconds))
            try:
                yield work
            except HeadraceError as fault:
                if not fault.far:
                    fault.steps = work.told()
                raise

    @asynccontextmanager
    async def _at(self, work: _Work, folder: Path, *, reading: bool = False) -> AsyncIterator[Login]:
        clock = asyncio.get_running_loop().time
        began = clock()
        async with self.logins.at(
            work.target, work.location, folder, work.deadline, reading=reading
        ) as login:
            work.steps["login"] = work.steps.get("login", 0.0) + clock() - began
            yield login

    @asynccontextmanager
    async def _to_put(self, work: _Work, folder: Path) -> AsyncIterator[Login]:
        """The same for a change that puts something there: NotThere says that the folder is missing."""
        async with AsyncExitStack() as stack:
            try:
                login = await stack.enter_async_context(self._at(work, folder))
            except NotThere as fault:
                raise NotThere(NO_FOLDER) from fault
            yield login

    @asynccontextmanager
    async def _looking(self, work: _Work) -> AsyncIterator[Login]:
        """A login to look what became of an unanswered change; MayBeDone where there is no looking."""
        try:
            async with self._at(work, work.path.parent) as login:
                yield login
        except MayBeDone:
            raise
        except HeadraceError as fault:
            raise MayBeDone from fault

    def _no_root(self, work: _Work) -> None:
        if work.path == work.location.root or not work.name:
            raise NotAllowed(ROOT_STAYS)

    def _no_folder(self, work: _Work) -> None:
        if work.path == work.location.root or not work.name or work.target.names_folder:
            raise WrongDocument(A_FOLDER)

    async def _is_document(self, work: _Work) -> bool:
        try:
            async with self._at(work, work.path.parent) as login:
                found = await look(login, work.path.parent, work.name, self._now)
        except NotThere:
            return False
        return found is not None and found.kind is not Kind.FOLDER

    # Changes

    async def _write(self, work: _Work, upload: Upload, condition: Condition) -> Written:
        folder, aside = work.path.parent, Aside.of(work.name)
        began = False
        try:
            async with self._to_put(work, folder) as login:
                check(condition, await look(login, folder, work.name, self._now))
                await probe(login, work.name)
                began = True
                size, checked = await store(login, aside, upload)
                old = await look(login, folder, work.name, self._now)
                check(condition, old)
                await replace_by_rename(login, aside, work.name, old, work.patience())
        except Unanswered as doubt:
            async with self._looking(work) as login:
                done = await settled(login, folder, aside, work.name)
            if not done:
                raise doubt.fault from doubt
        except BaseException as error:
            if began:
                await self._clean(work, aside.new, at_once=isinstance(error, Exception))
            raise
        if aside.stepped:
            await self._clean(work, aside.old, at_once=True)
        return Written(size, checked, work.told())

    async def _clean(self, work: _Work, name: bytes, *, at_once: bool) -> None:
        """Erase what lies beside the target, now or, where there is no time, in the background."""
        task = asyncio.create_task(self._erase_beside(work, name))
        self._cleaning.add(task)
        task.add_done_callback(self._cleaning.discard)
        if at_once:
            await asyncio.wait({task}, timeout=max(0.0, work.deadline.left()))

    async def _erase_beside(self, work: _Work, name: bytes) -> None:
        folder = work.path.parent
        try:
            deadline = Deadline.after(limits.LOGIN_CLEAN_SECONDS)
            async with self.logins.at(work.target, work.location, folder, deadline) as login:
                await login.ask(named(b"DELE", name))
        except HeadraceError:
            return  # it stays behind, under a name that says what it is

    async def _spool(self, work: _Work, spool: Spooled, condition: Condition) -> Stat | None:
        """The old bytes, and what they are of; None where nothing is there."""
        folder = work.path.parent
        async with self._to_put(work, folder) as login:
            found = await look(login, folder, work.name, self._now)
            check(condition, found)
            if found is not None:
                async with opened(login, work.name, found, 0, None, steps=work.told) as reading:
                    async for chunk in reading.chunks:
                        await spool.add(chunk)
        return found

    async def _erase(self, login: Login, work: _Work) -> None:
        folder = work.path.parent
        found = await look(login, folder, work.name, self._now)
        if found is not None and found.kind is Kind.FOLDER:
            # It may be a link to one, which only the listing shows.
            kinds = {each.name: each.kind for each in (await entries(login, self._now))[0]}
            if kinds.get(work.name) is not Kind.LINK:
                await self._erase_folder(login, work)
                return
        # Nothing found may be a link to nowhere: DELE tells.
        await act(login, named(b"DELE", work.name), work.patience(), placing=found is not None)

    async def _erase_folder(self, login: Login, work: _Work) -> None:
        try:
            await act(login, named(b"RMD", work.name), work.patience(), placing=True)
        except HeadraceError as refused:
            await login.enter(work.path)
            if (await entries(login, self._now))[0]:
                raise NotPossible(NOT_EMPTY) from refused
            await login.enter(work.path.parent)
            try:  # some list a link as the folder that it leads to; DELE takes no folder
                await act(login, named(b"DELE", work.name), work.patience())
            except HeadraceError:
                raise refused from None

    async def _rename(self, work: _Work, goal: Path) -> None:
        async with self._to_put(work, goal.parent) as login:
            if await look(login, goal.parent, goal.name, self._now) is not None:
                raise ChangedMeanwhile(ALREADY_THERE)
            await probe(login, goal.name)
            if goal.parent != work.path.parent:
                await login.enter(work.path.parent)
            reply = await login.ask(named(b"RNFR", work.name))
            if reply.code != 350:
                raise refusal(reply)
            same = goal.parent == work.path.parent
            to = named(b"RNTO", goal.name) if same else b"RNTO " + goal.spelled(login.home)
            await act(login, to, work.patience(), placing=True)

    async def _became(self, work: _Work, goal: Path) -> bool:
        """Whether an unanswered rename was made."""
        async with self._looking(work) as login:
            if await look(login, work.path.parent, work.name, self._now) is not None:
                return False
            await login.enter(goal.parent)
            return await look(login, goal.parent, goal.name, self._now) is not None
