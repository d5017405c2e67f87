"""A draft becomes a whole job or nothing."""

import hashlib
import os
import threading
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.errors import HeadraceError, NoRoom, WrongMoment
from gateway.service.spool.spool import Spool
from tests.disks import full, mounted
from tests.gateway.service.spool.jobs import PARTS, bytes_of, kept, names, sealed


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(st.binary(max_size=300), max_size=10))
async def test_whatever_pieces_it_comes_in(spool: Spool, pieces: list[bytes]) -> None:
    draft = spool.begin("store", "CLUB:a")
    for each in pieces:
        draft.write(each)
    assert draft.size == sum(map(len, pieces))
    held = draft.seal()
    body = b"".join(pieces)
    assert (held.size, held.digest) == (len(body), hashlib.sha256(body).hexdigest())
    assert await bytes_of(held) == body
    held.delivered()


def test_dropping(spool: Spool, tmp_path: Path) -> None:
    draft = spool.begin("store", "CLUB:a")
    draft.write(b"x")
    draft.drop()
    draft.drop()
    assert names(tmp_path / "spool") == set()
    for doing in (draft.seal, lambda: draft.write(b"y")):
        with pytest.raises(WrongMoment):
            doing()


def test_dropping_a_sealed_one_changes_nothing(spool: Spool, tmp_path: Path) -> None:
    """Its client has hung up, after the last line: it wants it stored."""
    draft = spool.begin("store", "CLUB:a")
    held = draft.seal()
    draft.drop()
    assert names(tmp_path / "spool") == {"1.data", "1.job", "1.spare"}
    held.delivered()
    draft.drop()
    assert names(tmp_path / "spool") == set()


def test_dropping_while_it_is_sealed_does_not_wait_for_the_disk(
    spool: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    sealing, released = threading.Event(), threading.Event()
    real = os.fsync

    def slow(descriptor: int) -> None:
        sealing.set()
        released.wait(20)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", slow)
    draft = spool.begin("store", "CLUB:a")
    thread = threading.Thread(target=draft.seal)
    thread.start()
    sealing.wait(20)
    draft.drop()  # it would hang here
    spool.close()
    released.set()
    thread.join()
    assert [each.number for each in spool.held()] == [1]


def test_a_job_is_safe_before_it_exists(spool: Spool, monkeypatch: pytest.MonkeyPatch) -> None:
    """fsync of the data and of the description, then the rename, then fsync of the folder: in that order."""
    done: list[str] = []
    real_fsync, real_rename = os.fsync, Path.rename

    def fsync(descriptor: int) -> None:
        done.append(Path(f"/proc/self/fd/{descriptor}").readlink().name)
        real_fsync(descriptor)

    def rename(path: Path, to: Path) -> Path:
        done.append(f"{path.name} is {to.name}")
        return real_rename(path, to)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "rename", rename)
    sealed(spool).close()
    assert done == ["1.data", "1.new", "1.new is 1.job", "spool"]


@pytest.mark.parametrize("failing", [1, 2, 3])
def test_a_disk_that_fails_while_it_is_sealed(
    spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    count = 0

    def fsync(_: int) -> None:
        nonlocal count
        count += 1
        if count == failing:
            raise OSError(5, "the disk fails")

    monkeypatch.setattr(os, "fsync", fsync)
    draft = spool.begin("store", "CLUB:a")
    with pytest.raises(HeadraceError, match="cannot be used"):
        draft.seal()
    assert names(tmp_path / "spool") == set()
    assert count == failing


def test_an_append_that_is_repeated_takes_the_place_of_the_first(spool: Spool) -> None:
    first = kept(spool, b"line\n", "append")
    other = [
        kept(spool, b"another line\n", "append"),
        kept(spool, b"line\n", "append", "CLUB:elsewhere"),
        kept(spool, b"line\n", "store"),
    ]
    again = kept(spool, b"line\n", "append")
    assert [each.number for each in spool.held()] == [*other, again]
    assert first not in other


def test_an_append_that_is_being_delivered_is_not_replaced(spool: Spool) -> None:
    first = sealed(spool, b"line\n", "append")
    again = sealed(spool, b"line\n", "append")
    assert [each.number for each in spool.held()] == [first.number, again.number]


@pytest.fixture(params=["limit", "disk"])
def small(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "small"
    folder.mkdir()
    with mounted(folder) if request.param == "disk" else nullcontext():
        yield folder


def test_a_full_disk_is_no_room_and_leaves_nothing(small: Path) -> None:
    spool = Spool(small / "spool")
    number = kept(spool, bytes(100_000))
    draft = spool.begin("store", "CLUB:a")
    with full(small), pytest.raises(NoRoom, match="disk is full"):
        for _ in range(32):
            draft.write(bytes(65_536))
    assert names(small / "spool") == {f"{number}.{part}" for part in PARTS}
    with pytest.raises(NoRoom):
        draft.write(b"more")
    sealed(spool, bytes(100_000)).close()  # there is room again
    assert len(spool.held()) == 2


def test_a_disk_that_is_full_at_the_end_is_no_room(small: Path) -> None:
    """The data fit, their description does not."""
    spool = Spool(small / "spool")
    draft = spool.begin("store", "CLUB:a")
    draft.write(bytes(200))
    with full(small, 200), (small / "filler").open("wb", buffering=0) as filler:
        with pytest.raises(OSError, match=r"No space|too large"):
            while True:
                filler.write(bytes(100))
        with pytest.raises(NoRoom):
            draft.seal()
    assert names(small / "spool") == set()
