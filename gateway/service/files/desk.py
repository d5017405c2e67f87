"""A session's file wish -> what was listed, read, taken in or changed, within its time."""

import asyncio
import time
from collections.abc import Callable
from typing import TypeAlias

from adapters import limits
from adapters.errors import BrokenOff, ChangedMeanwhile, NotPossible, TooLarge, WrongDocument
from adapters.files import A_DOCUMENT, Ability, Kind
from adapters.in_hand import in_hand
from adapters.media import media_type_of
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue
from gateway.extract.texts.document import text_records
from gateway.service.adapters import Adapters
from gateway.service.files.copying import move_document, same_document
from gateway.service.files.delivering import note_copy, noted_copy
from gateway.service.files.far import Far, far_of, refuse_itself, refuse_unwritable
from gateway.service.files.intake import Intakes
from gateway.service.files.jobs import Job, Jobs, left
from gateway.service.files.links import link_refs, page_url
from gateway.service.layouts import Layouts
from gateway.service.spool.spool import Held, Spool
from gateway.session.memory import ENTRY_BYTES, NAME_BYTES
from gateway.session.state import without_secrets
from gateway.session.wishes import (
    Act,
    ActWish,
    DataWish,
    DeliverWish,
    Done,
    Listed,
    ListWish,
    Part,
    Provenance,
    ReadWish,
    Staged,
    StageWish,
    Taken,
    Texted,
    TextWish,
)

FileWish: TypeAlias = ListWish | ReadWish | TextWish | StageWish | DeliverWish | ActWish
FileGranted: TypeAlias = Listed | Part | Texted | Staged | Done


class FileDesk:
    """Shared by all clients of one gateway."""

    def __init__(
        self,
        catalogue: Callable[[], Catalogue],
        adapters: Adapters,
        spool: Callable[[], Spool],
        jobs: Jobs,
        layouts: Layouts,
    ) -> None:
        self._catalogue = catalogue
        self._adapters = adapters
        self._spool = spool
        self._jobs = jobs
        self._layouts = layouts
        self._intakes = Intakes(self.far, spool, jobs)

    def take(self, wish: DataWish) -> Taken:
        """Bytes of a transfer, at once."""
        return self._intakes.take(wish)

    async def answer(self, wish: FileWish, seconds: float) -> FileGranted:
        """What was wished for within `seconds`, or a HeadraceError."""
        ends = asyncio.get_running_loop().time() + seconds
        if isinstance(wish, DeliverWish):
            return await self._intakes.deliver(wish, ends)
        far = self.far(wish.ref)  # which takes a moment where its protocol was not used before
        seconds = left(ends)
        if isinstance(wish, ListWish | ReadWish | TextWish):
            return await self._looked_at(far, wish, seconds)
        self._adapters.breaker.check(far.target.url)
        if isinstance(wish, StageWish):
            return await self._intakes.stage(wish, seconds)
        return await self._act(far, wish, ends)

    async def _looked_at(self, far: Far, wish: ListWish | ReadWish | TextWish, seconds: float) -> FileGranted:
        async with self._adapters.breaker.trying(far.target.url):
            if isinstance(wish, ListWish):
                return await self._list(far, seconds)
            if isinstance(wish, ReadWish):
                return await _part(far, wish, seconds)
            return await self._text(far, wish, seconds)

    def far(self, ref: Ref) -> Far:
        """The document or folder as the catalogue has it now, and its adapter."""
        return far_of(self._catalogue(), self._adapters.of, ref)

    async def _list(self, far: Far, seconds: float) -> Listed:
        _wanted(far, Ability.LIST, "LIST")
        listing = await far.adapter.list(far.target, seconds)
        await in_hand(len(listing.entries) * (ENTRY_BYTES + NAME_BYTES))
        folder = _moved(far.ref, listing.url)
        return Listed(listing, folder, Provenance(listing.origin, "fetched", steps=listing.steps))

    async def _text(self, far: Far, wish: TextWish, seconds: float) -> Texted:
        ends = time.perf_counter() + seconds
        part = await _part(far, ReadWish(wish.ref, 0, limits.TEXT_BYTES), seconds)
        if not part.last:
            raise TooLarge("The document is too large to show")
        begun = time.perf_counter()
        sheet = await self._layouts.beside(
            len(part.data),
            ends - begun,
            lambda: text_records(
                part.data,
                part.stat.media_type or media_type_of(far.target.name),
                part.stat.charset,
                page_url(far.target.url),
                wish.columns,
                wish.flow,
                wish.style,
                self._catalogue().gateway.letters,
            ),
        )
        steps = (*part.provenance.steps, ("lay out", time.perf_counter() - begun))
        provenance = Provenance(part.provenance.origin, part.provenance.how, steps=steps)
        return Texted(sheet.lines, link_refs(far.ref, sheet.links), sheet.limited, provenance)

    async def _act(self, far: Far, wish: ActWish, ends: float) -> Done:
        urls = [far.target.url]
        if wish.act is not Act.COPY:
            refuse_unwritable(far)
        if wish.act in {Act.ERASE, Act.RENAME}:
            await _refuse_document(far, left(ends))
        seconds = left(ends)
        if wish.to is None:
            job = Job(f"{wish.act.value} {shown(wish.ref)}", to=far.origin)
            erases = wish.act is Act.ERASE
            _wanted(far, Ability.ERASE if erases else Ability.MAKE_FOLDER, wish.act.value)
            do = far.adapter.erase if erases else far.adapter.make_folder
            return await self._jobs.run(job, lambda: do(far.target, seconds), urls, left(ends))
        to = self.far(wish.to)
        self._adapters.breaker.check(to.target.url)
        urls.append(to.target.url)
        job = Job(f"{wish.act.value} {shown(wish.ref)} {shown(wish.to)}", far.origin, to.origin)
        refuse_unwritable(to)
        refuse_itself(far, to)
        _wanted(far, Ability.READ, wish.act.value)
        _wanted(to, Ability.WRITE, wish.act.value)
        if wish.act is Act.RENAME and not far.beside(to):
            _wanted(far, Ability.ERASE, "RENAME")

        notes: list[Held] = []

        async def note() -> None:
            if wish.act is Act.COPY:
                notes.append(await note_copy(self._spool(), far, to))

        async def work() -> None:
            if wish.act is Act.RENAME:
                await move_document(far, to, job, seconds)
            else:
                await noted_copy(notes[0], far, to, job)
            self._intakes.note(to.target.url)

        def over() -> None:
            for each in notes:  # where the gateway went down before its turn came
                each.close()
            wish.carried(job.carried)

        return await self._jobs.run(job, work, urls, left(ends), transfers=True, first=note, last=over)


def shown(ref: Ref) -> str:
    """A ref as WHY may show it."""
    return without_secrets(ref.whole)


async def _refuse_document(far: Far, seconds: float) -> None:
    """WrongDocument where a slash says that it is a folder, and it is none: that one was not meant."""
    if not (far.target.url.endswith("/") and far.can(Ability.STAT)):
        return
    if (await far.adapter.stat(far.target, seconds)).kind is Kind.FILE:
        raise WrongDocument(A_DOCUMENT)


def _wanted(far: Far, ability: Ability, request: str) -> None:
    if not far.can(ability):
        raise NotPossible(f"{request} is not possible there")


def _moved(ref: Ref, url: str) -> Ref:
    """Where the folder really is: outside its place it is a URL like any other."""
    if not url or url == ref.url:
        return ref
    inside = ref.place is not None and url.startswith(ref.place.base)
    return Ref(url, ref.place if inside else None)


async def _part(far: Far, wish: ReadWish, seconds: float) -> Part:
    """The bytes wanted, and one more where only that can tell whether they are the last."""
    _wanted(far, Ability.READ, "READ")
    data = bytearray()
    began = time.perf_counter()
    async with far.adapter.read(far.target, wish.offset, wish.count + 1, seconds) as reading:
        if wish.same is not None and not same_document(wish.same, reading.stat):
            raise ChangedMeanwhile("The document has changed meanwhile")
        async for chunk in reading.chunks:
            data += chunk
            if len(data) > wish.count:
                break
            await in_hand(len(data))
    last = len(data) <= wish.count
    del data[wish.count :]
    if last and reading.size is not None and data and wish.offset + len(data) < reading.size:
        raise BrokenOff("Fewer bytes came than there are")
    steps = reading.steps or (("read", time.perf_counter() - began),)
    provenance = Provenance(reading.stat.origin, "fetched", steps=steps)
    return Part(bytes(data), reading.size, last, reading.stat, provenance)
