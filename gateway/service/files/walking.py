"""A folder of a far server -> everything in it, read once: what is recorded of it is then whole.

One request at a time, so that it is no burden to other people's servers.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from adapters import limits
from adapters.errors import HeadraceError, NotAllowed
from adapters.files import Ability, Entry, Kind, Target
from gateway.service.files.far import Far
from gateway.session.state import without_secrets


@dataclass(frozen=True, slots=True)
class Bounds:
    """How far a walk goes: folders below the first, documents, and bytes of all of them."""

    depth: int = limits.WALK_DEPTH
    documents: int = limits.WALK_DOCUMENTS
    size: int = limits.WALK_BYTES


@dataclass(slots=True)
class Walked:
    """What a walk has seen so far. `failed` are pairs of a URL, without its secrets, and a sentence; `cut`
    says which bound was reached, or nothing. `known` counts the documents that were listed.
    """

    folders: int = 0
    documents: int = 0
    size: int = 0
    known: int = 0
    failed: list[tuple[str, str]] = field(default_factory=list)
    cut: str = ""


class Walk:
    """`step` is told after each request. A single document is walked too."""

    def __init__(self, far: Far, bounds: Bounds, step: Callable[[Walked], None]) -> None:
        self._far = far
        self._bounds = bounds
        self._step = step
        self._folders: deque[tuple[Target, int]] = deque()
        self._seen: set[str] = set()
        self.walked = Walked()

    async def run(self) -> Walked:
        """All of it; what fails is noted, and the rest goes on."""
        target = self._far.target
        root = target.names_folder
        if root and self._far.can(Ability.LIST):
            self._enter(target, 0)
        else:
            self.walked.known += 1
            await self._read(target)
        while self._folders and not self.walked.cut:
            await self._list(*self._folders.popleft())
        return self.walked

    def _enter(self, target: Target, depth: int) -> None:
        if target.url not in self._seen:
            self._seen.add(target.url)
            self._folders.append((target, depth))

    async def _list(self, target: Target, depth: int) -> None:
        try:
            listing = await self._far.adapter.list(target, limits.WALK_SECONDS)
        except HeadraceError as fault:
            self._fail(target, fault)
            return
        self.walked.folders += 1
        if listing.partial:
            self._fail(target, HeadraceError("Not all of this folder was listed"))
        documents = [each for each in listing.entries if each.kind is not Kind.FOLDER]
        self.walked.known += len(documents)
        self._step(self.walked)
        for entry in documents:
            if self.walked.cut:
                return
            await self._read(_found(target, entry))
        for entry in listing.entries:
            if entry.kind is Kind.FOLDER:
                if depth + 1 > self._bounds.depth:
                    self.walked.cut = f"folders {self._bounds.depth} deep"
                    return
                self._enter(_folder(_found(target, entry)), depth + 1)

    async def _read(self, target: Target) -> None:
        walked, bounds = self.walked, self._bounds
        if walked.documents >= bounds.documents:
            walked.cut = f"{bounds.documents} documents"
            return
        if not target.url.startswith(target.root):  # an index page may name other places
            self._fail(target, NotAllowed("Outside the place"))
            return
        try:
            async with self._far.adapter.read(target, 0, None, limits.WALK_SECONDS) as reading:
                if reading.size is not None and walked.size + reading.size > bounds.size:
                    walked.cut = f"{bounds.size} bytes"
                    return
                async for chunk in reading.chunks:
                    walked.size += len(chunk)
                    if walked.size > bounds.size:
                        walked.cut = f"{bounds.size} bytes"
                        return
        except HeadraceError as fault:
            self._fail(target, fault)
            return
        walked.documents += 1
        self._step(walked)

    def _fail(self, target: Target, fault: HeadraceError) -> None:
        self.walked.failed.append((without_secrets(target.url), f"{fault.code} {fault.sentence}"))
        self._step(self.walked)


def _found(folder: Target, entry: Entry) -> Target:
    return folder.within(entry.name) if entry.url is None else replace(folder, url=entry.url)


def _folder(target: Target) -> Target:
    return target if target.names_folder else replace(target, url=f"{target.url}/")
