"""Copying: whole, checked, bounded, and a target that stays as it was when anything fails."""

import hashlib
from typing import Any

import pytest

from adapters.errors import BrokenOff, ChangedMeanwhile, HeadraceError, MayBeDone, NoRoom, NotPossible
from adapters.files import Ability, Digest, Target, Was, Written
from gateway.catalogue.calling.targets import Ref
from gateway.service.files.copying import copy_document, move_document
from gateway.service.files.far import Far
from gateway.service.files.jobs import Job
from tests.gateway.service.files.memory import ALL, MemoryFiles

BODY = bytes(range(256)) * 3
HERE, THERE = "a://one/pub/font.bin", "b://two/pub/font.bin"


def far(adapter: MemoryFiles, url: str) -> Far:
    return Far(Ref(url), Target(url, url[: url.rindex("/") + 1]), adapter)


@pytest.fixture
def reads() -> MemoryFiles:
    adapter = MemoryFiles()
    adapter.documents[HERE] = BODY
    return adapter


@pytest.fixture
def writes() -> MemoryFiles:
    adapter = MemoryFiles()
    adapter.documents[THERE] = b"old"
    return adapter


async def test_from_one_server_to_another(reads: MemoryFiles, writes: MemoryFiles) -> None:
    job = Job("copy")
    await copy_document(far(reads, HERE), far(writes, THERE), job)
    assert writes.documents == {THERE: BODY}
    assert reads.documents == {HERE: BODY}
    assert (job.moved, job.size, job.checked) == (len(BODY), len(BODY), "size")


async def test_within_one_server_the_bytes_stay_there(reads: MemoryFiles) -> None:
    job = Job("copy")
    await copy_document(far(reads, HERE), far(reads, HERE + "2"), job)
    assert reads.calls == ["copy"]
    assert job.moved == len(BODY)


async def test_a_server_that_cannot_copy_by_itself(reads: MemoryFiles) -> None:
    reads.able = ALL & ~Ability.COPY
    await copy_document(far(reads, HERE), far(reads, HERE + "2"), Job("copy"))
    assert reads.documents[HERE + "2"] == BODY
    assert "copy" not in reads.calls


async def test_a_digest_that_is_offered_is_checked(reads: MemoryFiles, writes: MemoryFiles) -> None:
    reads.digest = Digest("sha256", hashlib.sha256(BODY).hexdigest())
    job = Job("copy")
    await copy_document(far(reads, HERE), far(writes, THERE), job)
    assert job.checked == "size sha256"
    reads.digest = Digest("sha256", hashlib.sha256(b"else").hexdigest())
    writes.documents[THERE] = b"old"
    with pytest.raises(BrokenOff):
        await copy_document(far(reads, HERE), far(writes, THERE), Job("copy"))
    assert writes.documents == {THERE: b"old"}


async def test_another_size_than_told_is_no_copy(reads: MemoryFiles, writes: MemoryFiles) -> None:
    reads.told_size = len(BODY) + 1
    with pytest.raises(BrokenOff):
        await copy_document(far(reads, HERE), far(writes, THERE), Job("copy"))
    assert writes.documents == {THERE: b"old"}


@pytest.mark.parametrize("method", ["read", "piece"])
async def test_a_reading_side_that_fails(reads: MemoryFiles, writes: MemoryFiles, method: str) -> None:
    reads.faults[method] = BrokenOff()
    with pytest.raises(BrokenOff):
        await copy_document(far(reads, HERE), far(writes, THERE), Job("copy"))
    assert writes.documents == {THERE: b"old"}


@pytest.mark.parametrize("method", ["write", "commit"])
async def test_a_writing_side_that_fails(reads: MemoryFiles, writes: MemoryFiles, method: str) -> None:
    writes.faults[method] = NoRoom()
    with pytest.raises(NoRoom):
        await copy_document(far(reads, HERE), far(writes, THERE), Job("copy"))
    assert writes.documents == {THERE: b"old"}


async def test_a_move_within_a_server_is_its_own_affair(reads: MemoryFiles) -> None:
    await move_document(far(reads, HERE), far(reads, HERE + "2"), Job("move"), 5)
    assert reads.calls == ["rename"]


async def test_a_move_to_another_server(reads: MemoryFiles) -> None:
    writes = MemoryFiles()
    await move_document(far(reads, HERE), far(writes, THERE), Job("move"), 5)
    assert writes.documents == {THERE: BODY}
    assert reads.documents == {}


async def test_a_move_that_the_server_cannot_make_is_a_copy_and_an_erasure(reads: MemoryFiles) -> None:
    reads.faults["rename"] = NotPossible()
    await move_document(far(reads, HERE), far(reads, HERE + "2"), Job("move"), 5)
    assert reads.documents == {HERE + "2": BODY}
    reads.able = ALL & ~Ability.WRITE
    with pytest.raises(NotPossible):
        await move_document(far(reads, HERE + "2"), far(reads, HERE), Job("move"), 5)
    assert reads.documents == {HERE + "2": BODY}


async def test_a_move_replaces_nothing(reads: MemoryFiles, writes: MemoryFiles) -> None:
    with pytest.raises(ChangedMeanwhile):
        await move_document(far(reads, HERE), far(writes, THERE), Job("move"), 5)
    assert writes.documents == {THERE: b"old"}
    assert reads.documents == {HERE: BODY}


async def test_a_move_whose_copy_fails_erases_nothing(reads: MemoryFiles) -> None:
    writes = MemoryFiles()
    writes.faults["commit"] = HeadraceError()
    with pytest.raises(HeadraceError):
        await move_document(far(reads, HERE), far(writes, THERE), Job("move"), 5)
    assert reads.documents == {HERE: BODY}
    assert writes.documents == {}


async def test_a_move_erases_nothing_that_changed_meanwhile(
    reads: MemoryFiles, monkeypatch: pytest.MonkeyPatch
) -> None:
    writes, write = MemoryFiles(), MemoryFiles.write

    async def changing(*words: Any) -> Written:
        reads.documents[HERE] = b"what somebody else wrote"
        return await write(*words)

    monkeypatch.setattr(MemoryFiles, "write", changing)
    with pytest.raises(MayBeDone):
        await move_document(far(reads, HERE), far(writes, THERE), Job("move"), 5)
    assert reads.documents == {HERE: b"what somebody else wrote"}


async def test_a_move_whose_old_one_stays_says_so(reads: MemoryFiles) -> None:
    writes = MemoryFiles()
    reads.faults["erase"] = BrokenOff()
    with pytest.raises(MayBeDone):
        await move_document(far(reads, HERE), far(writes, THERE), Job("move"), 5)
    assert writes.documents == {THERE: BODY}


async def test_a_condition_is_for_the_far_server(reads: MemoryFiles, writes: MemoryFiles) -> None:
    with pytest.raises(ChangedMeanwhile):
        await copy_document(far(reads, HERE), far(writes, THERE), Job("copy"), Was.NOTHING)


async def test_a_folder_that_cannot_be_renamed_is_not_copied(reads: MemoryFiles) -> None:
    reads.faults["rename"] = NotPossible("not from one disk to another")
    reads.folders.add(HERE)
    with pytest.raises(NotPossible, match="one disk"):
        await move_document(far(reads, HERE), far(reads, HERE + "2"), Job("rename"), 5)
    assert reads.documents == {HERE: BODY}
