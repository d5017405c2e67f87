"""STORE and APPEND: a client's bytes -> the spool -> the target, which changes only as a whole at the end.

What the far server is asked beforehand is what is there now: if that has changed by the end, somebody else's
work would be lost, and the delivery ends in ChangedMeanwhile. A delivery that fails for a reason that passes
(the far server is away, busy or full, its certificate or our login is no good) leaves the job in the spool,
and the reply ends in "; kept". One that was refused for good, or that found the document changed, is not:
its client knows, and repeating it unasked could do harm.
"""

import asyncio
from collections.abc import Callable
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError, NotPossible, NotThere, WrongDocument
from adapters.files import Ability, Condition, Kind, Was
from gateway.service.files.delivering import deliver_to
from gateway.service.files.far import Far
from gateway.service.files.jobs import Job, Jobs
from gateway.service.spool.spool import Draft, Held, JobKind, Spool
from gateway.session.wishes import DataWish, DeliverWish, Done, Staged, StageWish, Taken

_FOR_GOOD: Final = frozenset({501, 502, 530, 532, 550, 551, 553, 555})


class Intake:
    """One transfer: what came so far. It is the session's `Staging`."""

    def __init__(self, request: str, far: Far, draft: Draft) -> None:
        self.request = request
        self.far = far
        self.draft = draft

    def drop(self) -> None:
        """The client gave up or is gone: nothing was changed, nothing is kept."""
        self.draft.drop()


class Intakes:
    """All transfers of one gateway."""

    def __init__(self, spool: Callable[[], Spool], jobs: Jobs) -> None:
        self._spool = spool
        self._jobs = jobs

    async def stage(self, wish: StageWish, far: Far, seconds: float) -> Staged:
        """Look at what is there, and get ready to take in. NotPossible, WrongDocument, NoRoom, and whatever
        keeps the far server from answering: then nothing has been sent yet.
        """
        ability = Ability.APPEND if wish.append else Ability.WRITE
        request = "APPEND" if wish.append else "STORE"
        if not far.can(ability):
            raise NotPossible(f"{request} is not possible there")
        if far.target.url.endswith("/"):
            raise WrongDocument("That is a folder")
        condition: Condition = Was.ANYTHING
        if far.can(Ability.STAT):
            try:
                condition = await far.adapter.stat(far.target, seconds)
            except NotThere:
                condition = Was.NOTHING
        if not isinstance(condition, Was) and condition.kind is Kind.FOLDER:
            raise WrongDocument("That is a folder")
        kind = JobKind.APPEND if wish.append else JobKind.STORE
        return Staged(Intake(request, far, self._spool().begin(kind, far.ref.whole, condition)))

    def take(self, wish: DataWish) -> Taken:
        """More bytes. NoRoom, after which the transfer is as good as dropped."""
        assert isinstance(wish.staging, Intake)
        wish.staging.draft.write(wish.data)
        return Taken()

    async def deliver(self, wish: DeliverWish, seconds: float) -> Done:
        """That was all: once it is safe on disk, the target is changed."""
        assert isinstance(wish.staging, Intake)
        intake = wish.staging
        job = Job(f"{intake.request} {intake.far.ref.whole}", to=intake.far.origin)
        sealing = asyncio.ensure_future(asyncio.to_thread(intake.draft.seal))
        held = await asyncio.shield(sealing)

        async def work() -> None:
            try:
                await _delivered(intake.far, held, job)
            except HeadraceError as error:
                if error.code not in _FOR_GOOD:
                    error.sentence += "; kept"
                raise

        return await self._jobs.run(job, work, (intake.far.target.url,), seconds, transfers=True)


async def _delivered(far: Far, held: Held, job: Job) -> None:
    job.size = held.size

    def moved(size: int) -> None:
        job.moved = size

    try:
        written = await deliver_to(far, held, moved, limits.TRANSFER_SECONDS)
    except HeadraceError as error:
        if error.code in _FOR_GOOD:
            held.drop()
        raise
    job.checked, job.steps = written.checked, written.steps
