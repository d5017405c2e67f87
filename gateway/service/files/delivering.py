"""What the spool holds -> its target: now, or again later from the command line."""

import asyncio
from collections.abc import Callable

from adapters import limits
from adapters.errors import HeadraceError
from adapters.files import Ability, Kind, Upload, Written
from gateway.catalogue.calling.targets import read_ref
from gateway.catalogue.model import Catalogue
from gateway.service.adapters import Adapters
from gateway.service.files.copying import copy_document
from gateway.service.files.far import Far, far_of, refuse_unwritable
from gateway.service.files.jobs import Job
from gateway.service.spool.spool import Held, JobKind, Spool


async def deliver(
    catalogue: Catalogue,
    adapters: Adapters,
    held: Held,
    seconds: float = limits.TRANSFER_SECONDS,
    sweep: bool = True,
) -> Written:
    """Deliver one held job by its ref, with the rights and secrets that the catalogue has now; the spool
    learns how it went. `sweep`: what an earlier try left beside the target is removed; not while another one
    may be under way there.
    """
    try:
        to = _far(catalogue, adapters, held.job.ref)
        refuse_unwritable(to)
        if held.job.kind is not JobKind.COPY:
            written = await deliver_to(to, held, lambda _: None, seconds)
        else:
            job = Job("copy")
            await copy_document(_far(catalogue, adapters, held.job.source), to, job)
            held.delivered()
            written = Written(job.moved, job.checked)
    except HeadraceError as error:
        held.failed(error.sentence, error.code == 558)
        raise
    if sweep:
        await _sweep(to, seconds)
    return written


def _far(catalogue: Catalogue, adapters: Adapters, ref: str) -> Far:
    return far_of(catalogue, adapters.of, read_ref(catalogue, ref))


async def deliver_to(to: Far, held: Held, moved: Callable[[int], None], seconds: float) -> Written:
    """Deliver one held job; what a failure means for it is the caller's. `moved` is told the bytes so far."""
    put = to.adapter.append if held.job.kind is JobKind.APPEND else to.adapter.write
    upload = Upload(lambda: held.chunks(moved), held.size)
    written = await put(to.target, upload, held.job.condition, seconds)
    held.delivered()
    return written


async def note_copy(spool: Spool, far: Far, to: Far) -> Held:
    """Note in the spool that a document is to be copied, so that a killed gateway leaves a trace of it."""
    draft = spool.begin(JobKind.COPY, to.ref.whole, source=far.ref.whole)
    try:
        return await asyncio.to_thread(draft.seal)
    except BaseException:
        draft.drop()  # where no thread could be had for it
        raise


async def noted_copy(held: Held, far: Far, to: Far, job: Job) -> None:
    """Copy one document, and forget the note of it."""
    try:
        await copy_document(far, to, job)
    except asyncio.CancelledError:  # the gateway goes down, and nobody can be told
        held.failed("The gateway went down meanwhile", doubtful=True)
        raise
    except Exception as error:
        if job.alone:  # so that somebody hears of it
            held.failed(error.sentence if isinstance(error, HeadraceError) else "The gateway failed")
        else:
            held.drop()
        raise
    held.drop()


async def _sweep(to: Far, seconds: float) -> None:
    """Remove what tries that were cut off left beside the target: best effort, never a failure."""
    folder = to.target.beside(b"")
    if not to.can(Ability.LIST | Ability.ERASE):
        return
    try:
        listing = await to.adapter.list(folder, seconds)
        for entry in listing.entries:
            if entry.kind is Kind.FILE and is_left_over(entry.name, to.target.name):
                await to.adapter.erase(folder.within(entry.name), seconds)
    except HeadraceError:
        return


def is_left_over(name: bytes, target: bytes) -> bool:
    """Whether an adapter made that name up for an unfinished document called `target`."""
    return name.startswith(target + b".hr-") and name.endswith(b".part")
