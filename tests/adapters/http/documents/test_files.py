"""The file contract over HTTP, against the servers of the trade with the index pages that they make."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace
from functools import partial
from time import perf_counter

import pytest

from adapters.errors import ChangedMeanwhile, MayBeDone, NotPossible, NotThere
from adapters.files import Ability, Was
from tests.adapters.file_contract import (
    SECONDS,
    FarFileContract,
    FileContract,
    FileStand,
    broken,
    endless,
    fails,
    upload,
    write,
)
from tests.adapters.http.documents.stands import DotlessStand, TextStand, WebStand, python_server, web_stand
from tests.adapters.web_servers import apache, lighttpd, nginx


class HttpFileContract(FarFileContract):
    """The same, but for what HTTP cannot promise: a PUT that breaks off may have left anything, so it is
    MayBeDone (558), and DELETE is for documents.
    """

    @pytest.mark.parametrize("size", [None, 200_000], ids=["size unknown", "size known"])
    async def test_an_upload_that_breaks_off_leaves_what_was(
        self, stand: FileStand, size: int | None
    ) -> None:
        """What these servers leave is what was."""
        stand.put(b"old", b"as it was")
        for name in (b"old", b"new"):
            for sent in (1, 150_000):
                doing = stand.adapter.write(stand.at(name), broken(b"n" * sent, size), Was.ANYTHING, SECONDS)
                await fails(stand, doing, MayBeDone)
        await self.only_old(stand)
        assert stand.peek(b"old") == b"as it was"
        await write(stand, b"old", b"new")
        assert stand.peek(b"old") == b"new"

    @pytest.mark.parametrize("size", [1, 99_999, 100_001], ids=lambda size: f"said {size}")
    async def test_an_upload_of_another_size_than_it_said(self, stand: FileStand, size: int) -> None:
        stand.put(b"old", b"as it was")
        data = upload(bytes(100_000), size=size)
        await fails(stand, stand.adapter.write(stand.at(b"old"), data, Was.ANYTHING, SECONDS), MayBeDone)
        await self.only_old(stand)
        assert stand.peek(b"old") == b"as it was"

    async def only_old(self, stand: FileStand) -> None:
        """Wait for it: Apache tidies up when it has noticed that a request broke off."""
        async with asyncio.timeout(5):
            while stand.names() != {b"old"}:  # noqa: ASYNC110 - nothing tells
                await asyncio.sleep(0.05)

    async def test_an_upload_that_stalls_ends_in_time(self, stand: FileStand) -> None:
        stand.put(b"old", b"as it was")
        began = perf_counter()
        doing = stand.adapter.write(stand.at(b"old"), endless(asyncio.Event()), Was.ANYTHING, 1.0)
        await fails(stand, doing, MayBeDone)
        assert perf_counter() - began < 5
        assert stand.peek(b"old") == b"as it was"

    async def test_a_full_folder_is_not_erased(self, stand: FileStand) -> None:
        """Nor is any other: HTTP cannot ask for "only if empty", and servers erase all that is in it."""
        stand.make(b"full")
        stand.put(b"full/inner", b"x")
        for name in (b"full", b"full/"):
            fault = await fails(stand, stand.adapter.erase(stand.at(name), SECONDS), NotPossible)
            assert (fault.code, fault.sentence) == (502, "Folders are not erased over HTTP")
        assert stand.peek(b"full/inner") == b"x"

    async def test_erasing(self, stand: FileStand) -> None:
        stand.put(b"document", b"x")
        stand.put(b"other", b"x")
        stand.make(b"empty")
        stand.make(b"full")
        stand.put(b"full/inner", b"x")
        await stand.adapter.erase(stand.at(b"document"), SECONDS)
        assert stand.names() == {b"other", b"empty", b"full"}
        for name in (b"empty", b"full", b"full/"):
            await fails(stand, stand.adapter.erase(stand.at(name), SECONDS), NotPossible)
        assert stand.peek(b"full/inner") == b"x"
        for name in (b"document", b"missing/deeper"):
            await fails(stand, stand.adapter.erase(stand.at(name), SECONDS), NotThere)


class TestNginx(HttpFileContract):
    @pytest.fixture
    async def stand(self) -> AsyncIterator[WebStand]:
        async with web_stand(nginx, DotlessStand) as stand:
            yield stand


class TestNginxTls(HttpFileContract):
    @pytest.fixture
    async def stand(self) -> AsyncIterator[WebStand]:
        async with web_stand(partial(nginx, tls=True), DotlessStand) as stand:
            yield stand


class TestApache(HttpFileContract):
    @pytest.fixture
    async def stand(self) -> AsyncIterator[WebStand]:
        async with web_stand(apache) as stand:
            yield stand


class TestLighttpd(HttpFileContract):
    @pytest.fixture
    async def stand(self) -> AsyncIterator[WebStand]:
        async with web_stand(lighttpd, TextStand) as stand:
            yield stand

    async def test_only_what_was_looked_at(self, stand: FileStand) -> None:
        """It remembers what it saw of a file for a second or two (its stat cache), entity tags too."""
        stand.put(b"old", b"as it was")
        seen = await stand.adapter.stat(stand.at(b"old"), SECONDS)
        stand.put(b"old", b"as somebody else left it")
        await asyncio.sleep(3)
        await fails(stand, write(stand, b"old", b"new", seen), ChangedMeanwhile)
        assert stand.peek(b"old") == b"as somebody else left it"
        seen = await stand.adapter.stat(stand.at(b"old"), SECONDS)
        await write(stand, b"old", b"new", seen)
        assert stand.peek(b"old") == b"new"
        await fails(stand, write(stand, b"gone", b"new", seen), ChangedMeanwhile)


class TestPythonServer:
    """Read only: the tests about listing and reading alone."""

    @pytest.fixture
    async def stand(self) -> AsyncIterator[WebStand]:
        async with web_stand(python_server, TextStand) as stand:
            yield stand

    test_empty = FileContract.test_an_empty_folder_is_not_a_missing_one
    test_listed_and_read = FileContract.test_what_was_listed_can_be_read
    test_listed_and_entered = FileContract.test_what_was_listed_can_be_entered
    test_stat = FileContract.test_stat
    test_stat_of_a_folder = FileContract.test_stat_of_a_folder
    test_whole = FileContract.test_bytes_come_through_whole
    test_parts = FileContract.test_parts
    test_leaving_early = FileContract.test_leaving_early_harms_nobody
    test_no_bytes = FileContract.test_a_folder_has_no_bytes
    test_no_entries = FileContract.test_a_document_has_no_entries
    test_a_slash = FileContract.test_a_slash_means_a_folder
    test_where_it_was = FileContract.test_where_it_was
    test_nothing_there = FileContract.test_nothing_there_to_read
    test_two_hundred_at_once = FileContract.test_two_hundred_at_once


async def test_what_it_says_it_can_do() -> None:
    async with web_stand(python_server, TextStand) as stand:
        able = stand.adapter.abilities(stand.root)
        assert able == (
            Ability.READ | Ability.RANGE | Ability.STAT | Ability.WRITE | Ability.ERASE | Ability.LIST
        )


async def test_no_folders_where_none_are_declared() -> None:
    """Nothing is asked: what a page's links lead to is no folder unless the catalogue says so."""
    async with web_stand(python_server, TextStand) as stand:
        root = replace(stand.root, index="")
        with pytest.raises(NotPossible):
            await stand.adapter.list(root, SECONDS)
        assert Ability.LIST not in stand.adapter.abilities(root)
        assert stand.contacts() == 0
