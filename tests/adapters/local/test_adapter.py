"""Local folders keep the contract of all adapters, and hold up neither the loop nor a deadline."""

import asyncio
import errno
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import AsyncIterator, Awaitable
from dataclasses import replace
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    MayBeDone,
    NameNotAllowed,
    NotAllowed,
    NotPossible,
    TooSlow,
)
from adapters.files import Kind, Upload, Was
from adapters.local import confined, moving, temporary
from adapters.local.adapter import LocalAdapter
from adapters.local.temporary import Temporary
from adapters.local.threads import Deadline
from adapters.port import Call
from adapters.registry import lookup
from tests.adapters.file_contract import SECONDS, FileContract, endless, fails, found, upload, whole, write
from tests.adapters.local.stands import LocalStand, url_of

ROOT = Path(__file__).parents[3]


class TestLocalFolder(FileContract):
    """The contract of all adapters."""


class TestOlderDisks(FileContract):
    """The same where a disk has neither files without a name, nor renameat2(2), nor copy_file_range(2)."""

    @pytest.fixture
    def stand(self, stand: LocalStand, monkeypatch: pytest.MonkeyPatch) -> LocalStand:
        def refused(*_: object) -> int:
            raise OSError(22, "not on this disk")

        monkeypatch.setattr(temporary, "_NAMES_LATER", False)
        monkeypatch.setattr(moving, "_renameat2", refused)
        monkeypatch.setattr(os, "copy_file_range", refused)
        return stand


def test_the_scheme_is_known() -> None:
    assert lookup("FILE") is LocalAdapter


# Names and listings


async def test_a_backslash_is_a_letter_like_any_other(stand: LocalStand) -> None:
    """POSIX.1-2017 section 3.282: only the slash parts names."""
    await write(stand, b"..\\secret", b"x")
    assert stand.names() == {b"..\\secret"}


@pytest.mark.parametrize(
    ("name", "kind"),
    [(b"a/b", NameNotAllowed), (b"a\0b", NameNotAllowed), (b"..", NotAllowed), (b"x" * 256, NameNotAllowed)],
    ids=["slash", "NUL", "dots", "256 bytes"],
)
async def test_names_that_cannot_be(stand: LocalStand, name: bytes, kind: type[NameNotAllowed]) -> None:
    """255 bytes is NAME_MAX of limits.h."""
    await fails(stand, stand.adapter.list(stand.root.within(name), SECONDS), kind)
    await fails(
        stand, stand.adapter.write(stand.root.within(name), upload(b"x"), Was.ANYTHING, SECONDS), kind
    )
    assert stand.names() == set()


async def test_names_of_255_bytes_are_written_and_replaced(stand: LocalStand) -> None:
    for body in (b"one", b"two"):
        await write(stand, b"x" * 255, body)
        assert stand.peek(b"x" * 255) == body


async def test_a_long_listing_says_that_it_is_cut(stand: LocalStand, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(4):
        stand.put(b"%d" % number, b"")
    monkeypatch.setattr(limits, "LIST_ENTRIES", 4)
    assert not (await stand.adapter.list(stand.root, SECONDS)).partial
    monkeypatch.setattr(limits, "LIST_ENTRIES", 3)
    listing = await stand.adapter.list(stand.root, SECONDS)
    assert (len(listing.entries), listing.partial) == (3, True)


@pytest.mark.parametrize("rest", ["", "//", "///x", "//elsewhere/x", "//exa mple\r\n/", "//[::1", "//x:y/"])
async def test_a_url_without_a_place_is_never_read(stand: LocalStand, rest: str) -> None:
    await fails(stand, stand.adapter.fetch(Call(f"file:{rest}"), SECONDS), NotAllowed)


async def test_a_url_outside_its_place_is_never_read(stand: LocalStand) -> None:
    call = Call(url_of(stand.outside) + "secret", root=stand.root.url)
    await fails(stand, stand.adapter.fetch(call, SECONDS), NotAllowed)
    call = Call(stand.root.url.rstrip("/") + "-else/secret", root=stand.root.url)
    await fails(stand, stand.adapter.fetch(call, SECONDS), NotAllowed)


# Writing


async def test_a_folder_into_itself(stand: LocalStand) -> None:
    stand.make(b"folder")
    doing = stand.adapter.rename(stand.at(b"folder"), stand.at(b"folder/inner"), SECONDS)
    await fails(stand, doing, NotPossible)
    assert stand.names() == {b"folder"}


async def test_twenty_append_at_once_and_nothing_is_lost(stand: LocalStand) -> None:
    lines = [b"line %d\n" % number for number in range(20)]
    await asyncio.gather(
        *(stand.adapter.append(stand.at(b"log"), upload(line), Was.ANYTHING, SECONDS) for line in lines)
    )
    assert sorted((stand.peek(b"log") or b"").splitlines(keepends=True)) == sorted(lines)


async def test_of_five_with_the_same_condition_one_is_first(
    stand: LocalStand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long it takes between the look and the rename."""
    real = Temporary._put

    def slow(made: Temporary, replace: bool) -> None:
        time.sleep(0.05)
        real(made, replace)

    monkeypatch.setattr(Temporary, "_put", slow)
    stand.put(b"old", b"as it was")
    seen = await stand.adapter.stat(stand.at(b"old"), SECONDS)
    done = await asyncio.gather(
        *(write(stand, b"old", b"%d" % number, seen) for number in range(5)), return_exceptions=True
    )
    first = [number for number, each in enumerate(done) if not isinstance(each, ChangedMeanwhile)]
    assert len(first) == 1
    assert stand.peek(b"old") == b"%d" % first[0]


@pytest.mark.parametrize("before", [None, b"as it was\n"], ids=["new", "there"])
async def test_an_append_does_not_undo_what_another_program_wrote(
    stand: LocalStand, before: bytes | None
) -> None:
    if before is not None:
        stand.put(b"log", before)

    async def chunks() -> AsyncIterator[bytes]:
        yield b"ours\n"
        stand.put(b"log", b"somebody else's\n")

    doing = stand.adapter.append(stand.at(b"log"), Upload(chunks), Was.ANYTHING, SECONDS)
    await fails(stand, doing, ChangedMeanwhile)
    assert (stand.peek(b"log"), stand.names()) == (b"somebody else's\n", {b"log"})


async def test_readers_see_the_old_or_the_new_one_whole(stand: LocalStand) -> None:
    size = 300_000
    stand.put(b"target", b"A" * size)
    seen: set[bytes] = set()
    writing = asyncio.create_task(_write_in_turn(stand, size))
    while not writing.done():
        body = await whole(stand, stand.at(b"target"))
        assert len(body) == size
        assert body == body[:1] * size
        seen.add(body[:1])
    await writing
    assert len(seen) > 1


async def _write_in_turn(stand: LocalStand, size: int) -> None:
    for number in range(30):
        await write(stand, b"target", bytes([65 + number % 26]) * size)


async def test_a_document_that_shrinks_while_it_is_read(stand: LocalStand) -> None:
    stand.put(b"document", bytes(limits.CHUNK_BYTES * 3))
    with pytest.raises(BrokenOff):
        async with stand.adapter.read(stand.at(b"document"), 0, None, SECONDS) as reading:
            async for _ in reading.chunks:
                os.truncate(stand.folder / "document", 10)


async def test_a_document_that_grows_is_read_as_it_was_opened(stand: LocalStand) -> None:
    stand.put(b"document", b"0123456789")
    async with stand.adapter.read(stand.at(b"document"), 2, None, SECONDS) as reading:
        with (stand.folder / "document").open("ab") as file:
            file.write(b"more")
        assert b"".join([chunk async for chunk in reading.chunks]) == b"23456789"


# The loop, deadlines and descriptors


@pytest.fixture
def slow_disk(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """fsync(2) hangs until the event is set."""
    released = threading.Event()
    real = os.fsync

    def hanging(descriptor: int) -> None:
        released.wait(20)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", hanging)
    return released


async def test_a_slow_disk_does_not_hold_the_loop(stand: LocalStand, slow_disk: threading.Event) -> None:
    writing = asyncio.create_task(write(stand, b"new", b"new"))
    for _ in range(50):
        began = time.perf_counter()
        await asyncio.sleep(0.001)
        assert time.perf_counter() - began < 1
    assert not writing.done()
    slow_disk.set()
    await writing
    assert stand.peek(b"new") == b"new"


async def test_a_disk_that_hangs_at_the_end_may_have_done_it(
    stand: LocalStand, slow_disk: threading.Event
) -> None:
    began = time.perf_counter()
    doing = stand.adapter.write(stand.at(b"new"), upload(b"new"), Was.ANYTHING, 0.3)
    await fails(stand, doing, MayBeDone)
    assert time.perf_counter() - began < 5
    slow_disk.set()
    for _ in range(500):
        if stand.peek(b"new") is not None:
            break
        await asyncio.sleep(0.01)
    assert (stand.peek(b"new"), stand.names()) == (b"new", {b"new"})


async def test_a_stalled_upload_is_given_up_before_its_time(
    stand: LocalStand, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "STALL_SECONDS", 0.2)
    stand.put(b"old", b"as it was")
    began = time.perf_counter()
    doing = stand.adapter.write(stand.at(b"old"), endless(asyncio.Event()), Was.ANYTHING, 1000)
    await fails(stand, doing, TooSlow)
    assert time.perf_counter() - began < 5
    assert (stand.peek(b"old"), stand.names()) == (b"as it was", {b"old"})


async def test_no_descriptor_is_lost(stand: LocalStand) -> None:
    stand.put(b"old", bytes(1 << 20))
    stand.make(b"folder")
    await whole(stand, stand.at(b"old"))
    before = _descriptors()
    for _ in range(5):
        began = asyncio.Event()
        writing = asyncio.create_task(
            stand.adapter.write(stand.at(b"old"), endless(began), Was.ANYTHING, SECONDS)
        )
        reading = asyncio.create_task(whole(stand, stand.at(b"old")))
        await began.wait()
        for each in (writing, reading):
            each.cancel()
        await asyncio.wait({writing, reading})
        await fails(stand, whole(stand, stand.at(b"missing/deeper")))
        await fails(stand, whole(stand, stand.at(b"folder")))
        await fails(stand, stand.adapter.list(stand.at(b"old"), SECONDS))
        await write(stand, b"old", bytes(1 << 20))
        await fails(stand, write(stand, b"old", b"x", Was.NOTHING), ChangedMeanwhile)
    await asyncio.sleep(0.1)
    assert _descriptors() <= before
    assert stand.names() == {b"old", b"folder"}


def _descriptors() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


WRITER = """
import asyncio, sys
from adapters.files import Target, Upload, Was
from adapters.local.adapter import LocalAdapter
from adapters.local.temporary import Temporary

async def run(root):
    adapter, target = LocalAdapter(), Target(root + "target", root)
    for number in range(100000):
        async def chunks():
            for _ in range(8):
                yield bytes([65 + number % 26]) * 50_000
        await adapter.write(target, Upload(chunks), Was.ANYTHING, 30)
        if number == 0:
            print("begun", flush=True)

asyncio.run(run(sys.argv[1]))
"""


@pytest.mark.parametrize("pause", [0.0, 0.013, 0.05])
def test_a_gateway_that_is_killed_leaves_the_old_or_the_new_one(stand: LocalStand, pause: float) -> None:
    command = [sys.executable, "-c", WRITER, stand.root.url]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"begun\n"
        time.sleep(pause)
        process.send_signal(signal.SIGKILL)
    body = stand.peek(b"target") or b""
    assert body == body[:1] * 400_000
    assert len(stand.names()) <= 2  # what is just being renamed has a name of its own for a moment


# Links and special files


async def test_links_are_listed_as_links_and_followed_within(stand: LocalStand) -> None:
    stand.make(b"folder")
    stand.put(b"folder/document", b"inside")
    (stand.folder / "near").symlink_to("folder/document")
    (stand.folder / "far").symlink_to(stand.outside / "secret")
    (stand.folder / "door").symlink_to("folder")
    entries = await found(stand)
    assert {name: each.kind for name, each in entries.items()} == {
        b"folder": Kind.FOLDER,
        b"near": Kind.LINK,
        b"far": Kind.LINK,
        b"door": Kind.LINK,
    }
    assert await whole(stand, stand.at(b"near")) == b"inside"
    assert (await stand.adapter.stat(stand.at(b"near"), SECONDS)).size == 6
    assert [each.name for each in (await stand.adapter.list(stand.at(b"door"), SECONDS)).entries] == [
        b"document"
    ]
    await write(stand, b"near", b"through the link")
    assert stand.peek(b"folder/document") == b"through the link"
    assert (stand.folder / "near").is_symlink()


async def test_what_is_added_under_two_names_is_all_there(stand: LocalStand) -> None:
    stand.put(b"document", b"")
    (stand.folder / "other").symlink_to("document")
    names = [b"document", b"other"] * 10
    await asyncio.gather(
        *(stand.adapter.append(stand.at(name), upload(b"x"), Was.ANYTHING, SECONDS) for name in names)
    )
    assert stand.peek(b"document") == b"x" * len(names)


async def test_links_that_lead_out_are_refused_by_everything(stand: LocalStand) -> None:
    stand.put(b"old", b"as it was")
    (stand.folder / "far").symlink_to(stand.outside / "secret")
    (stand.folder / "door").symlink_to("../outside")
    (stand.folder / "new").symlink_to("../outside/new")
    adapter = stand.adapter
    for name in (b"far", b"door/secret", b"new", b"door/new"):
        target = stand.at(name)
        for doing in (
            adapter.stat(target, SECONDS),
            whole(stand, target),
            adapter.write(target, upload(b"x"), Was.ANYTHING, SECONDS),
            adapter.append(target, upload(b"x"), Was.ANYTHING, SECONDS),
            adapter.copy(stand.at(b"old"), target, SECONDS),
            adapter.copy(target, stand.at(b"old"), SECONDS),
        ):
            await fails(stand, doing, NotAllowed)
    changes: tuple[Awaitable[object], ...] = (
        adapter.list(stand.at(b"door"), SECONDS),
        adapter.erase(stand.at(b"door/secret"), SECONDS),
        adapter.make_folder(stand.at(b"door/new"), SECONDS),
        adapter.rename(stand.at(b"old"), stand.at(b"door/new"), SECONDS),
        adapter.rename(stand.at(b"door/secret"), stand.at(b"got"), SECONDS),
    )
    for each in changes:
        await fails(stand, each, NotAllowed)
    assert [each.name for each in stand.outside.iterdir()] == ["secret"]
    assert (stand.outside / "secret").read_bytes() == b"not for clients"
    assert stand.peek(b"old") == b"as it was"


async def test_erase_and_rename_deal_with_the_link_itself(stand: LocalStand) -> None:
    stand.make(b"folder")
    stand.put(b"folder/document", b"inside")
    for name, goal in (("near", "folder/document"), ("door", "folder"), ("far", "../outside/secret")):
        (stand.folder / name).symlink_to(goal)
        await stand.adapter.rename(stand.at(name.encode()), stand.at(b"renamed"), SECONDS)
        assert (stand.folder / "renamed").readlink() == Path(goal)
        await stand.adapter.erase(stand.at(b"renamed"), SECONDS)
    assert (stand.names(), stand.peek(b"folder/document")) == ({b"folder"}, b"inside")
    assert (stand.outside / "secret").read_bytes() == b"not for clients"


async def test_a_link_does_not_count_as_a_free_name(stand: LocalStand) -> None:
    stand.put(b"old", b"as it was")
    (stand.folder / "dangling").symlink_to("nowhere")
    doing = stand.adapter.rename(stand.at(b"old"), stand.at(b"dangling"), SECONDS)
    await fails(stand, doing, ChangedMeanwhile)
    await fails(stand, stand.adapter.make_folder(stand.at(b"dangling"), SECONDS), ChangedMeanwhile)
    assert stand.peek(b"old") == b"as it was"


async def test_special_files_are_neither_listed_nor_opened(stand: LocalStand) -> None:
    """A FIFO nobody writes to: opening it in the ordinary way would hang (fifo(7))."""
    os.mkfifo(stand.folder / "special")
    stand.put(b"old", b"as it was")
    (stand.folder / "link").symlink_to("special")
    adapter = stand.adapter
    assert set(await found(stand)) == {b"old", b"link"}
    for name in (b"special", b"link"):
        target = stand.at(name)
        for doing in (
            adapter.stat(target, 5),
            whole(stand, target),
            adapter.write(target, upload(b"x"), Was.ANYTHING, 5),
            adapter.append(target, upload(b"x"), Was.ANYTHING, 5),
            adapter.copy(stand.at(b"old"), target, 5),
            adapter.copy(target, stand.at(b"old"), 5),
        ):
            began = time.perf_counter()
            await fails(stand, doing, NotAllowed)
            assert time.perf_counter() - began < 2
    await fails(stand, adapter.list(stand.at(b"special"), SECONDS), NotAllowed)
    await fails(stand, adapter.erase(stand.at(b"special"), SECONDS), NotAllowed)
    await fails(stand, adapter.rename(stand.at(b"special"), stand.at(b"to"), SECONDS), NotAllowed)
    assert stand.names() == {b"special", b"old", b"link"}


async def test_a_place_whose_folder_is_a_link(stand: LocalStand, tmp_path: Path) -> None:
    """What the catalogue names is the owner's own choice, links and all."""
    (tmp_path / "alias").symlink_to(stand.folder)
    stand.make(b"folder")
    stand.put(b"document", b"inside")
    (stand.folder / "folder" / "absolute").symlink_to(stand.folder / "document")
    (stand.folder / "folder" / "aliased").symlink_to(tmp_path / "alias" / "document")
    url = url_of(tmp_path / "alias")
    stand.root = replace(stand.root, url=url, root=url)
    assert await whole(stand, stand.at(b"folder/absolute")) == b"inside"
    assert await whole(stand, stand.at(b"folder/aliased")) == b"inside"


async def test_swapping_links_gives_nothing_away(stand: LocalStand) -> None:
    """Another program swaps a document, and a folder, for links that lead out, as fast as it can."""
    stand.make(b"folder")
    stand.put(b"folder/secret", b"inside")
    stand.put(b"document", b"inside")
    (stand.folder / "door").symlink_to("../outside")
    (stand.folder / "far").symlink_to("../outside/secret")
    ended = threading.Event()

    def swap() -> None:
        parent = os.open(stand.folder, os.O_RDONLY)
        try:
            while not ended.is_set():
                for one, other in ((b"folder", b"door"), (b"document", b"far")):
                    moving._LIBRARY.renameat2(parent, one, parent, other, 2)  # RENAME_EXCHANGE
        finally:
            os.close(parent)

    swapping = threading.Thread(target=swap)
    swapping.start()
    outcomes: set[object] = set()
    try:
        for _ in range(150):
            for name in (b"document", b"folder/secret"):
                try:
                    outcomes.add(await whole(stand, stand.at(name)))
                except NotAllowed:
                    outcomes.add(NotAllowed)
                try:
                    await write(stand, name, b"inside")
                except NotAllowed:
                    outcomes.add(NotAllowed)
    finally:
        ended.set()
        swapping.join()
    assert outcomes == {b"inside", NotAllowed}
    assert (stand.outside / "secret").read_bytes() == b"not for clients"
    assert [each.name for each in stand.outside.iterdir()] == ["secret"]


@pytest.mark.parametrize("new", ["link", "pipe"])
async def test_a_document_swapped_just_before_it_is_opened(
    stand: LocalStand, monkeypatch: pytest.MonkeyPatch, new: str
) -> None:
    path = stand.folder / "document"
    path.write_bytes(b"inside")
    real = confined._only_documents

    def swapped(status: os.stat_result) -> None:
        real(status)
        path.unlink()
        if new == "link":
            path.symlink_to("../outside/secret")
        else:
            os.mkfifo(path)

    monkeypatch.setattr(confined, "_only_documents", swapped)
    began = time.perf_counter()
    await fails(
        stand, stand.adapter.fetch(Call(stand.at(b"document").url, root=stand.root.url), 5), NotAllowed
    )
    assert time.perf_counter() - began < 2


async def test_a_target_swapped_for_a_link_just_before_it_is_replaced(stand: LocalStand) -> None:
    stand.put(b"target", b"inside")

    async def chunks() -> AsyncIterator[bytes]:
        yield b"new"
        (stand.folder / "target").unlink()
        (stand.folder / "target").symlink_to("../outside/secret")

    doing = stand.adapter.write(stand.at(b"target"), Upload(chunks), Was.ANYTHING, SECONDS)
    await fails(stand, doing, NotAllowed)
    assert (stand.outside / "secret").read_bytes() == b"not for clients"
    assert stand.names() == {b"target"}


async def test_a_turn_that_does_not_come_in_time(stand: LocalStand) -> None:
    async with stand.adapter._turn(stand.at(b"document"), Deadline(5)):
        with pytest.raises(TooSlow):
            async with stand.adapter._turn(stand.at(b"other"), Deadline(0.02)):
                pytest.fail("two at a time")


async def test_a_change_that_may_not_last_is_558(stand: LocalStand, monkeypatch: pytest.MonkeyPatch) -> None:
    """fsync(2) of the folder: after EIO nobody knows what is on the disk."""

    def failing(folder: int) -> None:
        raise OSError(errno.EIO, "broken")

    monkeypatch.setattr("adapters.local.adapter.sync_folder", failing)
    with pytest.raises(MayBeDone):
        await stand.adapter.make_folder(stand.at(b"folder"), SECONDS)
    assert (stand.folder / "folder").is_dir()
