"""Everything in a folder is read once, within bounds, whatever fails on the way."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from adapters.files import Entry, FileAdapter, Kind, Listing, Reading, Target
from adapters.local.adapter import LocalAdapter
from gateway.catalogue.calling.targets import Ref
from gateway.service.files.far import Far
from gateway.service.files.walking import Bounds, Walk, Walked


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    for name in ("a.txt", "one/b.txt", "one/c.txt", "one/two/d.txt"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode())
    return tmp_path


def at(folder: Path, path: str = "", adapter: FileAdapter | None = None) -> Far:
    root = f"{folder.as_uri()}/"
    return Far(Ref(root + path), Target(root + path, root), adapter or LocalAdapter())


async def walked(far: Far, bounds: Bounds | None = None) -> Walked:
    steps: list[int] = []
    walk = Walk(far, bounds or Bounds(), lambda so_far: steps.append(so_far.documents))
    try:
        result = await walk.run()
    finally:
        await far.adapter.aclose()
    assert steps == sorted(steps)
    return result


async def test_a_whole_folder(tree: Path) -> None:
    result = await walked(at(tree))
    assert (result.folders, result.documents, result.known) == (3, 4, 4)
    assert result.size == len("a.txtone/b.txtone/c.txtone/two/d.txt")
    assert (result.failed, result.cut) == ([], "")


async def test_one_document(tree: Path) -> None:
    result = await walked(at(tree, "one/b.txt"))
    assert (result.folders, result.documents, result.size) == (0, 1, 9)


@pytest.mark.parametrize(
    ("bounds", "documents", "cut"),
    [
        (Bounds(depth=1), 3, "folders 1 deep"),
        (Bounds(documents=2), 2, "2 documents"),
        (Bounds(size=14), 2, "14 bytes"),
        (Bounds(size=13), 1, "13 bytes"),
    ],
)
async def test_bounds(tree: Path, bounds: Bounds, documents: int, cut: str) -> None:
    result = await walked(at(tree), bounds)
    assert result.documents == documents
    assert result.cut == cut
    assert result.size <= bounds.size


async def test_a_missing_folder_is_told(tree: Path) -> None:
    result = await walked(at(tree, "nothing/"))
    assert [sentence for _, sentence in result.failed] == ["550 Not there"]
    assert result.documents == 0


class Linked(LocalAdapter):
    """Its folders name one document elsewhere, and one that is not there, as index pages may."""

    async def list(self, target: Target, seconds: float) -> Listing:
        listing = await super().list(target, seconds)
        elsewhere = Entry(b"far", Kind.FILE, url="http://elsewhere.example/far")
        lost = Entry(b"lost.txt", Kind.FILE)
        back = Entry(b"back", Kind.FOLDER, url=target.root)
        return replace(listing, entries=(elsewhere, lost, back, *listing.entries))


async def test_never_out_of_the_place_and_never_in_a_circle(tree: Path) -> None:
    result = await walked(at(tree, adapter=Linked()))
    assert result.documents == 4
    outside = [url for url, sentence in result.failed if sentence == "532 Outside the place"]
    assert outside == ["http://elsewhere.example/far"] * 3
    assert sum(sentence == "550 Not there" for _, sentence in result.failed) == 3


async def test_a_folder_that_cannot_be_listed_is_read(tree: Path) -> None:
    class Flat(LocalAdapter):
        can = ~LocalAdapter.can & LocalAdapter.can

    result = await walked(at(tree, "one/", adapter=Flat()))
    assert [sentence[:3] for _, sentence in result.failed] == ["551"]


class Vague(LocalAdapter):
    """Its folders are listed in part, and its documents do not say how large they are, as index pages may."""

    async def list(self, target: Target, seconds: float) -> Listing:
        return replace(await super().list(target, seconds), partial=True)

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        async with super().read(target, offset, count, seconds) as reading:
            yield replace(reading, size=None)


async def test_what_was_listed_in_part_is_told_and_sizes_are_counted_as_they_come(tree: Path) -> None:
    result = await walked(at(tree, adapter=Vague()))
    assert result.documents == 4
    assert [sentence for _, sentence in result.failed] == ["451 Not all of this folder was listed"] * 3
    result = await walked(at(tree, adapter=Vague()), Bounds(size=13))
    assert (result.documents, result.cut) == (1, "13 bytes")
