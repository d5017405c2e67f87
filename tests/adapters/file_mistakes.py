"""What every adapter says of a client's mistakes: the same code and the same words over every protocol; a
part of `file_contract`. The codes are those of CONTRACT section 2, the words those of adapters.files.
"""

from collections.abc import Awaitable
from dataclasses import replace

from adapters.errors import ChangedMeanwhile, HeadraceError, NotPossible, NotThere, WrongDocument
from adapters.files import Ability, Condition, Target, Was
from tests.adapters.file_stands import SECONDS, FileStand, fails, lacks, upload, whole, write


def slashed(target: Target) -> Target:
    """The same with a slash at its end, as a client may type it."""
    return replace(target, url=target.url + "/")


async def told(
    stand: FileStand, doing: Awaitable[object], kind: type[HeadraceError], code: int, sentence: str
) -> None:
    """It fails as that, in those words."""
    fault = await fails(stand, doing, kind)
    assert (fault.code, fault.sentence) == (code, sentence)


async def a_folder(stand: FileStand, doing: Awaitable[object]) -> None:
    await told(stand, doing, WrongDocument, 551, "That is a folder")


async def a_document(stand: FileStand, doing: Awaitable[object]) -> None:
    await told(stand, doing, WrongDocument, 551, "That is a document")


async def there(stand: FileStand, doing: Awaitable[object]) -> None:
    await told(stand, doing, ChangedMeanwhile, 555, "Already there")


async def no_folder(stand: FileStand, doing: Awaitable[object]) -> None:
    await told(stand, doing, NotThere, 550, "No such folder there")


async def nothing(stand: FileStand, doing: Awaitable[object]) -> None:
    await told(stand, doing, NotThere, 550, "Not there")


class MistakesContract:
    """Needs the fixture `stand`."""

    async def test_a_folder_has_no_bytes(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.READ):
            return
        stand.make(b"a folder")
        stand.put(b"a folder/inner", b"x")
        stand.make(b"empty")
        for target in (stand.at(b"a folder"), stand.at(b"empty")):
            for each in (target, slashed(target)):
                await a_folder(stand, whole(stand, each))
                await a_folder(stand, whole(stand, each, 3, 5))
        await a_folder(stand, whole(stand, stand.root))
        if Ability.COPY in stand.adapter.abilities(stand.root):
            doing = stand.adapter.copy(stand.at(b"a folder"), stand.at(b"new"), SECONDS)
            await a_folder(stand, doing)

    async def test_a_document_has_no_entries(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.LIST):
            return
        stand.put(b"README.txt", b"body")
        for target in (stand.at(b"README.txt"), slashed(stand.at(b"README.txt"))):
            await a_document(stand, stand.adapter.list(target, SECONDS))

    async def test_a_slash_means_a_folder(self, stand: FileStand) -> None:
        """READ of a document's name with one: see adapters.files."""
        if await lacks(stand, Ability.READ):
            return
        stand.put(b"README.txt", b"body")
        await a_document(stand, whole(stand, slashed(stand.at(b"README.txt"))))
        await nothing(stand, whole(stand, slashed(stand.at(b"missing"))))

    async def test_nothing_is_written_with_a_slash(self, stand: FileStand) -> None:
        able = stand.adapter.abilities(stand.root)
        stand.put(b"README.txt", b"body")
        data = upload(b"new", size=3)
        for name in (b"README.txt", b"new"):
            target = slashed(stand.at(name))
            if Ability.WRITE in able:
                await a_folder(stand, stand.adapter.write(target, data, Was.ANYTHING, SECONDS))
            if Ability.APPEND in able:
                await a_folder(stand, stand.adapter.append(target, data, Was.ANYTHING, SECONDS))
            if Ability.COPY in able:
                await a_folder(stand, stand.adapter.copy(stand.at(b"README.txt"), target, SECONDS))
        assert (stand.peek(b"README.txt"), stand.names()) == (b"body", {b"README.txt"})

    async def test_folders_are_not_written_over(self, stand: FileStand) -> None:
        able = stand.adapter.abilities(stand.root)
        stand.put(b"document", b"x")
        stand.make(b"full")
        stand.put(b"full/inner", b"x")
        stand.make(b"empty")
        conditions: tuple[Condition, ...] = (Was.ANYTHING, Was.NOTHING)
        for name in (b"full", b"empty"):
            for condition in conditions:
                if Ability.WRITE in able:
                    await a_folder(stand, write(stand, name, b"new", condition))
                if Ability.APPEND in able:
                    doing = stand.adapter.append(stand.at(name), upload(b"new"), condition, SECONDS)
                    await a_folder(stand, doing)
            if Ability.COPY in able:
                await a_folder(stand, stand.adapter.copy(stand.at(b"document"), stand.at(name), SECONDS))
        if Ability.WRITE in able:
            doing = stand.adapter.write(stand.root, upload(b"new", size=3), Was.ANYTHING, SECONDS)
            await a_folder(stand, doing)
        assert stand.names() == {b"document", b"full", b"empty"}
        assert (stand.names(b"full"), stand.names(b"empty")) == ({b"inner"}, set())

    async def test_what_is_there_already(self, stand: FileStand) -> None:
        able = stand.adapter.abilities(stand.root)
        stand.put(b"document", b"as it was")
        stand.make(b"folder")
        for name in (b"document", b"folder"):
            if Ability.MAKE_FOLDER in able:
                await there(stand, stand.adapter.make_folder(stand.at(name), SECONDS))
                await there(stand, stand.adapter.make_folder(slashed(stand.at(name)), SECONDS))
            if Ability.RENAME in able:
                stand.put(b"other", b"x")
                await there(stand, stand.adapter.rename(stand.at(b"other"), stand.at(name), SECONDS))
        if Ability.MAKE_FOLDER in able:
            await there(stand, stand.adapter.make_folder(stand.root, SECONDS))
        if Ability.WRITE in able:
            await there(stand, write(stand, b"document", b"new", Was.NOTHING))
        if Ability.APPEND in able:
            doing = stand.adapter.append(stand.at(b"document"), upload(b"new"), Was.NOTHING, SECONDS)
            await there(stand, doing)
        assert stand.peek(b"document") == b"as it was"

    async def test_no_folder_to_put_it_in(self, stand: FileStand) -> None:
        able = stand.adapter.abilities(stand.root)
        stand.put(b"document", b"as it was")
        for name in (b"missing/new", b"missing/deeper/new", b"document/new"):
            target = stand.at(name)
            if Ability.WRITE in able:
                await no_folder(stand, write(stand, name, b"new"))
            if Ability.APPEND in able:
                doing = stand.adapter.append(target, upload(b"new"), Was.ANYTHING, SECONDS)
                await no_folder(stand, doing)
            if Ability.MAKE_FOLDER in able:
                await no_folder(stand, stand.adapter.make_folder(target, SECONDS))
            if Ability.RENAME in able and not name.startswith(b"document"):
                await no_folder(stand, stand.adapter.rename(stand.at(b"document"), target, SECONDS))
            if Ability.COPY in able:
                await no_folder(stand, stand.adapter.copy(stand.at(b"document"), target, SECONDS))
        assert (stand.peek(b"document"), stand.names()) == (b"as it was", {b"document"})

    async def test_nothing_of_that_name(self, stand: FileStand) -> None:
        able, adapter = stand.adapter.abilities(stand.root), stand.adapter
        stand.make(b"folder")
        for name in (b"missing", b"missing/deeper", b"folder/missing"):
            target = stand.at(name)
            if Ability.LIST in able:
                await nothing(stand, adapter.list(target, SECONDS))
            if Ability.STAT in able:
                await nothing(stand, adapter.stat(target, SECONDS))
            if Ability.READ in able:
                await nothing(stand, whole(stand, target))
            if Ability.ERASE in able:
                await nothing(stand, adapter.erase(target, SECONDS))
            if Ability.RENAME in able:
                await nothing(stand, adapter.rename(target, stand.at(b"to"), SECONDS))
            if Ability.COPY in able:
                await nothing(stand, adapter.copy(target, stand.at(b"to"), SECONDS))
        assert stand.names() == {b"folder"}

    async def test_a_full_folder_is_not_erased(self, stand: FileStand) -> None:
        if await lacks(stand, Ability.ERASE):
            return
        stand.make(b"full")
        stand.put(b"full/inner", b"x")
        for target in (stand.at(b"full"), slashed(stand.at(b"full"))):
            doing = stand.adapter.erase(target, SECONDS)
            await told(stand, doing, NotPossible, 502, "The folder is not empty")
        assert stand.peek(b"full/inner") == b"x"

    async def test_where_it_was(self, stand: FileStand) -> None:
        """The origin in WHY: the place's own scheme, host and port, and nothing else."""
        able = stand.adapter.abilities(stand.root)
        stand.put(b"document", b"x")
        if Ability.LIST in able:
            assert (await stand.adapter.list(stand.root, SECONDS)).origin == stand.origin
        if Ability.STAT in able:
            assert (await stand.adapter.stat(stand.at(b"document"), SECONDS)).origin == stand.origin
        if Ability.STAT in able and Ability.LIST in able:
            assert (await stand.adapter.stat(stand.root, SECONDS)).origin == stand.origin
        if Ability.READ in able:
            async with stand.adapter.read(stand.at(b"document"), 0, None, SECONDS) as reading:
                assert reading.stat.origin == stand.origin
