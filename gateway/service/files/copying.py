"""One document -> another place, streamed: bounded memory, checked, the target whole or as it was.

The size is checked where the reading side tells it, its digest where it offers one (RFC 9530 and like); what
arrived at the far side is for its adapter to verify. A fault of the reading side stops the writing before it
is whole, so that the target stays as it was.
"""

import hashlib
from collections.abc import AsyncIterator

from adapters import limits
from adapters.errors import BrokenOff, ChangedMeanwhile, MayBeDone, NotPossible, NotThere
from adapters.files import Ability, Condition, Kind, Reading, Stat, Upload, Was
from gateway.service.files.far import Far
from gateway.service.files.jobs import Job


async def copy_document(far: Far, to: Far, job: Job, condition: Condition = Was.ANYTHING) -> None:
    """Within the far server where it can, else through here. The errors are those of adapters.files."""
    if condition is Was.ANYTHING and far.beside(to) and far.can(Ability.COPY):
        written = await far.adapter.copy(far.target, to.target, limits.TRANSFER_SECONDS)
        job.moved, job.size = written.size or 0, written.size
        job.checked, job.steps = written.checked, written.steps
        return
    async with far.adapter.read(far.target, 0, None, limits.TRANSFER_SECONDS) as reading:
        job.size = reading.size
        upload = Upload(
            lambda: _checked(reading, job),
            size=reading.size,
            repeatable=False,
            media_type=reading.stat.media_type or "application/octet-stream",
        )
        written = await to.adapter.write(to.target, upload, condition, limits.TRANSFER_SECONDS)
    job.checked, job.steps = written.checked, written.steps
    if reading.digest is not None:
        job.checked = f"{job.checked} {reading.digest.algorithm}".strip()


async def _checked(reading: Reading, job: Job) -> AsyncIterator[bytes]:
    """The bytes as they come; BrokenOff at their end where they are not what the server said."""
    digest = hashlib.new(reading.digest.algorithm, usedforsecurity=False) if reading.digest else None
    async for chunk in reading.chunks:
        job.moved += len(chunk)
        job.carried += len(chunk)
        if digest is not None:
            digest.update(chunk)
        yield chunk
    if reading.size is not None and job.moved != reading.size:
        raise BrokenOff("The document came in another size")
    if digest is not None and reading.digest is not None and digest.hexdigest() != reading.digest.digits:
        raise BrokenOff("The document came changed")


async def move_document(far: Far, to: Far, job: Job, seconds: float) -> None:
    """Another name: by the far server where both are there, else copied, checked, and then erased."""
    if far.beside(to) and far.can(Ability.RENAME):
        try:
            await far.adapter.rename(far.target, to.target, seconds)
        except NotPossible:  # such as from one disk of this computer to another
            if not (far.can(Ability.READ | Ability.ERASE) and to.can(Ability.WRITE)):
                raise
            if (await far.adapter.stat(far.target, seconds)).kind is Kind.FOLDER:
                raise
        else:
            return
    try:
        await to.adapter.stat(to.target, seconds)
    except NotThere:
        pass
    else:
        raise ChangedMeanwhile("Something has that name already")
    before = await far.adapter.stat(far.target, seconds)
    await copy_document(far, to, job, Was.NOTHING)
    try:
        unchanged = same_document(before, await far.adapter.stat(far.target, limits.STALL_SECONDS))
        if unchanged:
            await far.adapter.erase(far.target, limits.STALL_SECONDS)
    except Exception as error:
        raise MayBeDone("Copied, but the old one is still there") from error
    if not unchanged:
        raise MayBeDone("Copied, but the old one has changed")


def same_document(before: Stat, now: Stat) -> bool:
    """Whether two looks may have seen one document: by its validator, else by its date and size."""
    if before.validators.etag is not None and now.validators.etag is not None:
        return before.validators.etag == now.validators.etag
    known: list[tuple[object, object]] = [
        (before.size, now.size),
        (before.modified, now.modified),
        (before.validators.last_modified, now.validators.last_modified),
    ]
    return all(first == second for first, second in known if first is not None and second is not None)
