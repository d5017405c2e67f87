"""What every adapter with documents and folders keeps: inherit `FileContract` and give it a stand.

    class TestMyFiles(FileContract):
        @pytest.fixture
        async def stand(self) -> AsyncIterator[FileStand]:
            ...

An adapter over the network inherits `FarFileContract`, and a stand whose server keeps its files in a folder
on this disk is a `DiskStand`. The tests are those of adapters.files: names and bytes come through whole; a
change is made whole or not at all, and nothing is left lying about; every failure is the right error of
adapters.errors within its time; nothing private gets into a sentence. Where `abilities` lacks something,
the same test asserts that it is refused as NotPossible.
"""

from collections.abc import Awaitable, Callable
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.errors import (
    CannotConnect,
    ChangedMeanwhile,
    NotAllowed,
    NotPossible,
    NotThere,
    TooSlow,
)
from adapters.files import Ability, Was
from adapters.port import Reach
from tests.adapters.file_mistakes import MistakesContract
from tests.adapters.file_reading import AWKWARD, BODIES, ReadingContract
from tests.adapters.file_stands import (
    DOING,
    SECONDS,
    DiskStand,
    FarFileStand,
    FileStand,
    broken,
    endless,
    fails,
    found,
    lacks,
    upload,
    where,
    whole,
    write,
)
from tests.adapters.file_writing import WritingContract

__all__ = [
    "AWKWARD",
    "BODIES",
    "DOING",
    "SECONDS",
    "DiskStand",
    "FarFileContract",
    "FarFileStand",
    "FileContract",
    "FileStand",
    "broken",
    "endless",
    "fails",
    "found",
    "lacks",
    "segments",
    "upload",
    "where",
    "whole",
    "write",
]


def segments() -> st.SearchStrategy[bytes]:
    """Names of one segment, of any bytes."""
    legal = st.integers(1, 255).filter(lambda byte: byte != 0x2F)
    return st.lists(legal, min_size=1, max_size=40).map(bytes).filter(lambda name: name not in {b".", b".."})


SOME = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.differing_executors],
)


class FileContract(ReadingContract, WritingContract, MistakesContract):
    """Inherit, and define the fixture `stand`."""

    # Erasing, renaming, making folders, copying

    async def test_erasing(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.ERASE):
            return
        stand.put(b"document", b"x")
        stand.put(b"other", b"x")
        stand.make(b"empty")
        stand.make(b"slash")
        stand.make(b"full")
        stand.put(b"full/inner", b"x")
        for name in (b"document", b"empty"):
            await stand.adapter.erase(stand.at(name), SECONDS)
        await stand.adapter.erase(replace(stand.root, url=stand.at(b"slash").url + "/"), SECONDS)
        assert stand.names() == {b"other", b"full"}
        for target in (stand.at(b"full"), replace(stand.root, url=stand.at(b"full").url + "/")):
            await fails(stand, stand.adapter.erase(target, SECONDS), NotPossible)
        assert stand.peek(b"full/inner") == b"x"
        for name in (b"document", b"missing/deeper"):
            await fails(stand, stand.adapter.erase(stand.at(name), SECONDS), NotThere)

    async def test_renaming(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.RENAME):
            return
        stand.put(b"one", b"1")
        stand.make(b"folder")
        stand.put(b"folder/inner", b"x")
        await stand.adapter.rename(stand.at(b"one"), stand.at(b"two words"), SECONDS)
        await stand.adapter.rename(stand.at(b"folder"), stand.at(b"moved"), SECONDS)
        assert stand.names() == {b"two words", b"moved"}
        assert (stand.peek(b"two words"), stand.peek(b"moved/inner")) == (b"1", b"x")
        await stand.adapter.rename(stand.at(b"two words"), stand.at(b"moved/one"), SECONDS)
        assert (stand.names(), stand.peek(b"moved/one")) == ({b"moved"}, b"1")
        doing = stand.adapter.rename(stand.at(b"missing"), stand.at(b"to"), SECONDS)
        await fails(stand, doing, NotThere)

    async def test_a_rename_replaces_nothing(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.RENAME):
            return
        stand.put(b"one", b"1")
        stand.put(b"two", b"2")
        stand.make(b"folder")
        for name in (b"two", b"folder"):
            doing = stand.adapter.rename(stand.at(b"one"), stand.at(name), SECONDS)
            await fails(stand, doing, ChangedMeanwhile)
        assert (stand.peek(b"one"), stand.peek(b"two"), stand.names(b"folder")) == (b"1", b"2", set())
        assert stand.names() == {b"one", b"two", b"folder"}

    async def test_making_folders(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.MAKE_FOLDER):
            return
        await stand.adapter.make_folder(stand.at(b"a folder"), SECONDS)
        await stand.adapter.make_folder(stand.at(b"a folder/in it"), SECONDS)
        stand.put(b"a folder/in it/document", b"x")
        stand.put(b"document", b"x")
        await fails(stand, stand.adapter.make_folder(stand.at(b"a folder"), SECONDS), ChangedMeanwhile)
        await fails(stand, stand.adapter.make_folder(stand.at(b"document"), SECONDS), ChangedMeanwhile)
        await fails(stand, stand.adapter.make_folder(stand.at(b"missing/new"), SECONDS), NotThere)
        assert stand.names() == {b"a folder", b"document"}
        assert stand.names(b"a folder/in it") == {b"document"}

    async def test_copying_within(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.COPY):
            return
        body = bytes(range(256)) * 1200
        stand.put(b"one", body)
        stand.put(b"two", b"2")
        for name in (b"new one", b"two"):
            written = await stand.adapter.copy(stand.at(b"one"), stand.at(name), SECONDS)
            assert written.size in {None, len(body)}
            assert stand.peek(name) == body
        doing = stand.adapter.copy(stand.at(b"missing"), stand.at(b"two"), SECONDS)
        await fails(stand, doing, NotThere)
        doing = stand.adapter.copy(stand.at(b"one"), stand.at(b"missing/two"), SECONDS)
        await fails(stand, doing, NotThere)
        assert (stand.peek(b"one"), stand.peek(b"two")) == (body, body)
        assert stand.names() == {b"one", b"new one", b"two"}

    # All of them

    @pytest.mark.parametrize("ability", DOING, ids=lambda ability: str(ability.name).lower())
    async def test_no_time_at_all(self, stand: FileStand, ability: Ability) -> None:
        if await lacks(stand, ability):
            return
        stand.put(b"old", b"as it was")
        for seconds in (0.0, -1.0):
            await fails(stand, DOING[ability](stand, seconds), TooSlow)
        assert (stand.peek(b"old"), stand.names()) == (b"as it was", {b"old"})

    @pytest.mark.parametrize("path", ["..", "../x", "%2e%2e/x", ".%2E/x", "a/../../x", "a/%2e%2e/%2e%2e/x"])
    async def test_the_root_is_not_left(self, stand: FileStand, path: str) -> None:
        target = replace(stand.root, url=stand.root.url + path)
        adapter, data = stand.adapter, upload(b"x", size=1)
        able = adapter.abilities(stand.root)
        stand.put(b"old", b"as it was")
        doing: dict[Ability, Callable[[], Awaitable[object]]] = {
            Ability.LIST: lambda: adapter.list(target, SECONDS),
            Ability.STAT: lambda: adapter.stat(target, SECONDS),
            Ability.READ: lambda: whole(stand, target),
            Ability.WRITE: lambda: adapter.write(target, data, Was.ANYTHING, SECONDS),
            Ability.APPEND: lambda: adapter.append(target, data, Was.ANYTHING, SECONDS),
            Ability.ERASE: lambda: adapter.erase(target, SECONDS),
            Ability.RENAME: lambda: adapter.rename(stand.at(b"old"), target, SECONDS),
            Ability.MAKE_FOLDER: lambda: adapter.make_folder(target, SECONDS),
            Ability.COPY: lambda: adapter.copy(stand.at(b"old"), target, SECONDS),
        }
        before = stand.contacts()
        for each in doing:
            kind = NotAllowed if each in able else NotPossible
            await fails(stand, doing[each](), kind, asked=False)
        assert stand.contacts() == before
        assert (stand.peek(b"old"), stand.names()) == (b"as it was", {b"old"})

    async def test_the_root_itself_stays(self, stand: FileStand) -> None:
        if not await lacks(stand, Ability.ERASE):
            await fails(stand, stand.adapter.erase(stand.root, SECONDS), NotAllowed, NotPossible)
        if not await lacks(stand, Ability.RENAME):
            doing = stand.adapter.rename(stand.root, stand.at(b"to"), SECONDS)
            await fails(stand, doing, NotAllowed, NotPossible)
        stand.put(b"still", b"there")
        assert stand.peek(b"still") == b"there"

    @SOME
    @given(name=segments(), body=st.binary(max_size=5_000))
    async def test_any_name_and_bytes_there_and_back(
        self, stand: FileStand, name: bytes, body: bytes
    ) -> None:
        if not stand.takes(name):
            return
        able = stand.adapter.abilities(stand.root)
        if Ability.WRITE in able:
            await write(stand, name, body)
        else:
            stand.put(name, body)
        assert stand.peek(name) == body
        target = stand.at(name)
        if Ability.LIST in able:
            target = where(stand, (await found(stand))[name])
        if Ability.READ in able:
            assert await whole(stand, target) == body
            assert await whole(stand, target, 3, 7) == body[3:10]
        if Ability.ERASE in able:
            await stand.adapter.erase(target, SECONDS)
            assert name not in stand.names()

    async def test_closing_twice_does_no_harm(self, stand: FileStand) -> None:
        stand.put(b"old", b"as it was")
        if not await lacks(stand, Ability.READ):
            assert await whole(stand, stand.at(b"old")) == b"as it was"
        await stand.adapter.aclose()
        await stand.adapter.aclose()


class FarFileContract(FileContract):
    """What an adapter keeps besides if it dials."""

    @pytest.mark.parametrize("ability", DOING, ids=lambda ability: str(ability.name).lower())
    async def test_a_private_address_that_nobody_named(self, stand: FarFileStand, ability: Ability) -> None:
        if await lacks(stand, ability):
            return
        stand.put(b"old", b"as it was")
        if Ability.READ in stand.adapter.abilities(stand.root):
            await whole(stand, stand.at(b"old"))  # so that a connection may be kept
        before = stand.contacts()
        stand.root = replace(stand.root, reach=Reach())
        await fails(stand, DOING[ability](stand, SECONDS), NotAllowed)
        assert stand.contacts() == before
        assert stand.peek(b"old") == b"as it was"

    @pytest.mark.parametrize("ability", DOING, ids=lambda ability: str(ability.name).lower())
    async def test_nobody_listens(self, stand: FarFileStand, ability: Ability) -> None:
        if await lacks(stand, ability):
            return
        stand.root = stand.nobody()
        await fails(stand, DOING[ability](stand, SECONDS), CannotConnect)
