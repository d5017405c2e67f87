"""STORE and APPEND: a client's bytes -> the spool -> the target, which changes only as a whole at the end.

What the far server is asked beforehand is what is there now: if that has changed by the end, somebody else's
work would be lost, and the delivery ends in ChangedMeanwhile. A delivery that fails for a reason that passes
(the far server is away, busy or full, its certificate or our login is no good) leaves the job in the spool,
and the reply begins with "Kept." One that was refused for good, or that found the document changed, is not
kept if its client still waits: it knows then, and repeating it unasked could do harm.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Final

from adapters import limits
from adapters.errors import ChangedMeanwhile, HeadraceError, NotPossible, NotThere, WrongDocument
from adapters.files import NO_FOLDER, Ability, Condition, Kind, Was
from gateway.service.files.delivering import deliver_to
from gateway.service.files.far import Far, FarOf, refuse_unwritable
from gateway.service.files.jobs import Job, Jobs, left, origins_of
from gateway.service.spool.spool import Draft, Held, JobKind, Spool
from gateway.session.state import without_secrets
from gateway.session.wishes import DataWish, DeliverWish, Done, Staged, StageWish, Taken

_FOR_GOOD: Final = frozenset({501, 502, 530, 532, 550, 551, 553, 555})


class Intake:
    """One transfer: what came so far. It is the session's `Staging`."""

    def __init__(self, wish: StageWish, draft: Draft, serial: int) -> None:
        self.ref = wish.ref
        self.request = _request(wish)
        self.draft = draft
        self.serial = serial
        self.job: Job | None = None  # once it is to be delivered

    def drop(self) -> None:
        """The client gave up or is gone: nothing was changed, nothing is kept. No effect on a job."""
        if self.job is None or not self.job.begun:
            self.draft.drop()


class Intakes:
    """All transfers of one gateway. `far` finds a ref's server as the catalogue has it at that moment."""

    def __init__(self, far: FarOf, spool: Callable[[], Spool], jobs: Jobs) -> None:
        self._far = far
        self._spool = spool
        self._jobs = jobs
        self._serials: OrderedDict[str, int] = OrderedDict()

    async def stage(self, wish: StageWish, seconds: float) -> Staged:
        """Look at what is there, and get ready to take in. NotPossible, WrongDocument, NoRoom, and whatever
        keeps the far server from answering: then nothing has been sent yet.
        """
        far = self._far(wish.ref)
        refuse_unwritable(far)
        if not far.can(Ability.APPEND if wish.append else Ability.WRITE):
            raise NotPossible(f"{_request(wish)} is not possible there")
        if far.target.url.endswith("/"):
            raise WrongDocument("That is a folder")
        serial = self._serials.get(far.target.url, 0)
        condition = await _what_is_there(far, seconds)
        if wish.append:  # whatever is there by the end is what is added to
            return Staged(Intake(wish, self._spool().begin(JobKind.APPEND, far.ref.whole), serial))
        return Staged(Intake(wish, self._spool().begin(JobKind.STORE, far.ref.whole, condition), serial))

    def take(self, wish: DataWish) -> Taken:
        """More bytes. NoRoom, after which the transfer is as good as dropped."""
        assert isinstance(wish.staging, Intake)
        wish.staging.draft.write(wish.data)
        return Taken()

    async def deliver(self, wish: DeliverWish, ends: float) -> Done:
        """That was all: once it is safe on disk, the target is changed, if it may still be. `ends` as the
        event loop's clock has it.
        """
        assert isinstance(wish.staging, Intake)
        intake = wish.staging
        try:
            far = self._far(intake.ref)
            refuse_unwritable(far)
            self._jobs.check_room(origins_of([far.target.url]))
        except HeadraceError:
            intake.drop()
            raise
        job = intake.job = Job(f"{intake.request} {without_secrets(intake.ref.whole)}", to=far.origin)
        url, sealed = far.target.url, list[Held]()

        async def seal() -> None:
            sealed.append(await asyncio.to_thread(intake.draft.seal))

        async def work() -> None:
            (held,) = sealed
            with _kept(held, job):
                if intake.request == "STORE" and self._serials.get(url, 0) != intake.serial:
                    raise ChangedMeanwhile("Somebody else stored it meanwhile")
                job.size = held.size
                written = await deliver_to(far, held, partial(setattr, job, "moved"), limits.TRANSFER_SECONDS)
                job.checked, job.steps = written.checked, written.steps
                self.note(url)

        def let_go() -> None:
            """What was not sealed, or not dealt with afterwards, is nobody's any more."""
            intake.draft.drop()
            for held in sealed:
                held.close()

        return await self._jobs.run(job, work, (url,), left(ends), transfers=True, first=seal, last=let_go)

    def note(self, url: str) -> None:
        """It was changed by this gateway: protocols that show only seconds and sizes may not tell."""
        self._serials[url] = self._serials.pop(url, 0) + 1
        while len(self._serials) > limits.CHANGED_DOCUMENTS:
            self._serials.popitem(last=False)


def _request(wish: StageWish) -> str:
    return "APPEND" if wish.append else "STORE"


@contextmanager
def _kept(held: Held, job: Job) -> Iterator[None]:
    """What fails for good is dropped, if its client is there to hear it; anything else stays in the spool, in
    the place of older ones, and the error begins with that: its end may be cut.
    """
    try:
        yield
    except HeadraceError as error:
        if error.code in _FOR_GOOD and not job.alone:
            held.drop()
            raise
        if held.job.kind is JobKind.STORE:
            held.remove_older(lambda older: older.job.kind is JobKind.STORE)
        held.failed(error.sentence, error.code == 558)
        error.sentence = f"Kept. {error.sentence}"
        error.notes = (("SPOOL", f"number {held.number}: headrace spool"),)
        raise
    except Exception:
        held.failed("The gateway failed", doubtful=True)
        raise


async def _what_is_there(far: Far, seconds: float) -> Condition:
    """What has to be there still at the end. WrongDocument for a folder."""
    if not far.can(Ability.STAT):
        return Was.ANYTHING
    try:
        stat = await far.adapter.stat(far.target, seconds)
    except NotThere:
        await _look_for_folder(far, seconds)
        return Was.NOTHING
    if stat.kind is Kind.FOLDER:
        raise WrongDocument("That is a folder")
    return stat


async def _look_for_folder(far: Far, seconds: float) -> None:
    """Before a new document is taken in: NotThere where its folder is missing, so that nobody types in vain.

    Only where folders are made before documents: a web server may well make them as it likes.
    """
    folder = far.target.beside(b"")
    if far.can(Ability.MAKE_FOLDER) and folder.url != far.target.root:
        try:
            found = await far.adapter.stat(folder, seconds)
        except NotThere as error:
            raise NotThere(NO_FOLDER) from error
        if found.kind is Kind.FILE:
            raise NotThere(NO_FOLDER)
