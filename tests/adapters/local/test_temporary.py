"""A document is replaced whole, with its rights, or stays as it was: full disks among the reasons."""

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import nullcontext, suppress
from pathlib import Path
from typing import Any

import pytest

from adapters import limits
from adapters.errors import ChangedMeanwhile, MayBeDone, NoRoom, NotAllowed, WrongDocument
from adapters.files import Was
from adapters.local import temporary
from adapters.local.confined import Spot
from adapters.local.temporary import Temporary
from tests.adapters.file_contract import SECONDS, fails, upload, write
from tests.adapters.local.stands import LocalStand
from tests.disks import descriptors, full, mounted


@pytest.fixture(params=[True, False], ids=["unnamed", "named"])
def folder(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """An open folder, on a disk that has files without names, and on one that has not."""
    monkeypatch.setattr(temporary, "_NAMES_LATER", request.param)
    descriptor = os.open(tmp_path, os.O_PATH)
    yield descriptor
    os.close(descriptor)


def put(folder: int, name: bytes, body: bytes, *, replace: bool = True) -> None:
    made = Temporary(Spot(folder, name))
    try:
        made.write(body)
        made.place(lambda _: True, replace=replace)
    finally:
        made.close()


@pytest.mark.parametrize("mode", [0o600, 0o644, 0o464, 0o777])
def test_rights_and_owner_are_kept(folder: int, tmp_path: Path, mode: int) -> None:
    path = tmp_path / "document"
    path.write_bytes(b"old")
    with suppress(PermissionError):  # where the tests are run by root
        os.chown(path, 12345, 54321)
    path.chmod(mode)
    before = path.stat()
    put(folder, b"document", b"new")
    after = path.stat()
    assert path.read_bytes() == b"new"
    assert (after.st_mode, after.st_uid, after.st_gid) == (before.st_mode, before.st_uid, before.st_gid)


def test_set_user_id_is_not_kept(folder: int, tmp_path: Path) -> None:
    """What a client wrote must not run as the owner."""
    path = tmp_path / "document"
    path.write_bytes(b"old")
    path.chmod(0o6755)
    put(folder, b"document", b"new")
    assert path.stat().st_mode & 0o7777 == 0o755


def test_a_new_document_has_the_usual_rights(folder: int, tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        put(folder, b"new", b"")
    finally:
        os.umask(old)
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("replace", [True, False])
def test_it_is_safe_before_it_has_its_name(
    folder: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, replace: bool
) -> None:
    """The bytes are on the disk (fsync(2)) before the name leads to them, and then the name is."""
    done: list[str] = []
    real = os.fsync

    def fsync(descriptor: int) -> None:
        document = stat.S_ISREG(os.fstat(descriptor).st_mode)
        done.append(f"{'document' if document else 'folder'}, named: {(tmp_path / 'document').exists()}")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    put(folder, b"document", b"new", replace=replace)
    assert done == ["document, named: False", "folder, named: True"]


def test_nothing_is_seen_before_it_is_whole(folder: int, tmp_path: Path) -> None:
    made = Temporary(Spot(folder, b"document"))
    made.write(b"new")
    assert not (tmp_path / "document").exists()
    assert [each.name for each in tmp_path.iterdir()] in ([], [made.name.decode()])
    made.close()
    made.close()
    assert list(tmp_path.iterdir()) == []


def test_a_name_that_appeared_meanwhile_is_not_replaced(folder: int, tmp_path: Path) -> None:
    """Even if it comes after the look: link(2) and RENAME_NOREPLACE replace nothing."""

    def appears(_: os.stat_result | None) -> bool:
        (tmp_path / "document").write_bytes(b"somebody else's")
        return True

    made = Temporary(Spot(folder, b"document"))
    made.write(b"new")
    with pytest.raises(FileExistsError):
        made.place(appears, replace=False)
    made.close()
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [
        ("document", b"somebody else's")
    ]


def test_a_condition_that_is_not_met(folder: int, tmp_path: Path) -> None:
    (tmp_path / "document").write_bytes(b"old")
    made = Temporary(Spot(folder, b"document"))
    with pytest.raises(ChangedMeanwhile):
        made.place(lambda found: found is None, replace=True)
    made.close()
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("document", b"old")]


def test_what_cannot_be_replaced(folder: int, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(WrongDocument):
        Temporary(Spot(folder, b"folder"))
    with pytest.raises(WrongDocument):
        Temporary(Spot(folder, b"."))
    with pytest.raises(NotAllowed):
        Temporary(Spot(folder, b"pipe"))


def test_after_closing_nothing_is_written(folder: int) -> None:
    """The descriptor's number may be somebody else's by then."""
    made = Temporary(Spot(folder, b"document"))
    made.close()
    with pytest.raises(OSError, match="given up"):
        made.write(b"x")
    with pytest.raises(OSError, match="given up"):
        made.place(lambda _: True, replace=True)


def test_a_rename_that_may_not_last_may_be_done(
    folder: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(_: int) -> None:
        raise OSError(5, "the disk fails")

    monkeypatch.setattr(temporary, "sync_folder", failing)
    with pytest.raises(MayBeDone):
        put(folder, b"document", b"new")
    assert (tmp_path / "document").read_bytes() == b"new"


@pytest.fixture(params=["limit", "disk"])
def small(request: pytest.FixtureRequest, stand: LocalStand) -> Iterator[LocalStand]:
    with mounted(stand.folder) if request.param == "disk" else nullcontext():
        yield stand


@pytest.mark.parametrize("named", [False, True], ids=["unnamed", "named"])
async def test_a_full_disk_leaves_what_was(
    small: LocalStand, named: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(temporary, "_NAMES_LATER", not named)
    small.put(b"old", bytes(400_000))
    adapter, much = small.adapter, bytes(1_100_000)
    with full(small.folder):
        for name in (b"old", b"new"):
            await fails(small, write(small, name, much), NoRoom)
            doing = adapter.append(small.at(name), upload(much), Was.ANYTHING, SECONDS)
            await fails(small, doing, NoRoom)
    assert (small.peek(b"old"), small.names()) == (bytes(400_000), {b"old"})
    await write(small, b"old", b"a little")
    assert small.peek(b"old") == b"a little"


@pytest.mark.parametrize(
    ("disk", "kept"),
    [(1 << 40, limits.DISK_RESERVE_BYTES), (1 << 30, limits.DISK_RESERVE_BYTES), (1_474_560, 23_040)],
    ids=["large", "middling", "floppy"],
)
async def test_something_of_a_disk_is_left_free(
    stand: LocalStand, monkeypatch: pytest.MonkeyPatch, disk: int, kept: int
) -> None:
    """What a far server sends may have no end, and a system without any room does not do well."""
    room = os.statvfs_result((512, 512, disk // 512, 9_999, 2 + kept // 512, 0, 0, 0, 0, 255))
    monkeypatch.setattr(os, "statvfs", lambda _: room)
    await write(stand, b"small", bytes(1_024))
    await fails(stand, write(stand, b"small", bytes(1_025)), NoRoom)
    assert stand.peek(b"small") == bytes(1_024)


async def test_a_copy_onto_a_full_disk_leaves_what_was(small: LocalStand) -> None:
    small.put(b"one", bytes(600_000))
    small.put(b"old", b"as it was")
    with full(small.folder, 500_000):
        doing = small.adapter.copy(small.at(b"one"), small.at(b"old"), SECONDS)
        await fails(small, doing, NoRoom)
    assert (small.peek(b"old"), small.names()) == (b"as it was", {b"one", b"old"})


async def test_a_close_that_fails_does_not_undo_what_was_done(
    stand: LocalStand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """close(2), "Dealing with error returns": the descriptor is free on Linux, whatever it says. A change
    that was made is told as made (CONTRACT section 2: no 4xx once it may have been), and nothing stays open.
    """
    real, adapter = os.close, stand.adapter

    def fails(descriptor: int) -> None:
        real(descriptor)
        raise OSError(errno.EIO, "made to fail")

    stand.put(b"old", b"as it was")
    await write(stand, b"new", b"before")  # so that there are threads
    before = descriptors()
    with monkeypatch.context() as patch:
        patch.setattr(os, "close", fails)
        await write(stand, b"new", b"new")
        await adapter.append(stand.at(b"old"), upload(b" and more"), Was.ANYTHING, SECONDS)
        await adapter.copy(stand.at(b"new"), stand.at(b"copy"), SECONDS)
        await adapter.rename(stand.at(b"copy"), stand.at(b"moved"), SECONDS)
        await adapter.make_folder(stand.at(b"folder"), SECONDS)
        await adapter.erase(stand.at(b"new"), SECONDS)
    assert stand.names() == {b"old", b"moved", b"folder"}
    assert stand.peek(b"old") == b"as it was and more"
    assert descriptors() == before


def test_a_disk_without_files_that_have_no_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """open(2), O_TMPFILE: EOPNOTSUPP where the file system has no such files."""
    really = os.open

    def refusing(path: Any, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        if flags & os.O_TMPFILE == os.O_TMPFILE:
            raise OSError(errno.EOPNOTSUPP, "not on this disk")
        return really(path, flags, mode, dir_fd=dir_fd)

    descriptor = really(tmp_path, os.O_PATH)
    monkeypatch.setattr(os, "open", refusing)
    put(descriptor, b"document", b"new")
    os.close(descriptor)
    assert (tmp_path / "document").read_bytes() == b"new"


def test_a_disk_that_takes_no_further_file(folder: int, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(path: Any, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        raise OSError(errno.ENOSPC, "full")

    before = len(list(Path("/proc/self/fd").iterdir()))
    with monkeypatch.context() as patch:
        patch.setattr(os, "open", failing)
        with pytest.raises(OSError, match="full"):
            Temporary(Spot(folder, b"document"))
    assert len(list(Path("/proc/self/fd").iterdir())) == before
