"""STORE and APPEND: all or nothing, kept where it can still be delivered, and nobody's work overwritten."""

import asyncio
from pathlib import Path

import pytest

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    ChangedMeanwhile,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NameNotAllowed,
    NotAllowed,
    NotPossible,
    NotThere,
    TooSlow,
    Untrusted,
    WrongDocument,
)
from adapters.files import Ability
from gateway.session.wishes import DataWish, DeliverWish, Staged, StageWish
from tests.gateway.service.files.memory import ALL
from tests.gateway.service.files.stand import QUAY, Stand


@pytest.fixture
def stand(tmp_path: Path) -> Stand:
    return Stand(tmp_path)


async def test_a_new_document(stand: Stand) -> None:
    done = await stand.store("quay:a.txt", b"one\n", b"two\n")
    assert done.code == 250
    assert stand.quay.documents == {QUAY + "a.txt": b"one\ntwo\n"}
    assert list(done.progress()) == [
        ("JOB", "STORE QUAY:a.txt, done"),
        ("TO", "ftp://quay.example"),
        ("BYTES", "8 of 8"),
        ("CHECKED", "by its size"),
    ]
    assert stand.kept == []


async def test_what_was_there_is_replaced_and_appended_to(stand: Stand) -> None:
    stand.quay.documents[QUAY + "a.txt"] = b"old"
    await stand.store("quay:a.txt", b"new")
    await stand.store("quay:a.txt", b"er", append=True)
    assert stand.quay.documents[QUAY + "a.txt"] == b"newer"


async def test_an_empty_document(stand: Stand) -> None:
    await stand.store("quay:a.txt")
    assert stand.quay.documents == {QUAY + "a.txt": b""}


async def test_nothing_changes_before_the_end(stand: Stand) -> None:
    staged = await stand.desk.answer(StageWish(stand.ref("quay:a.txt"), False), 5)
    assert isinstance(staged, Staged)
    stand.desk.take(DataWish(staged.staging, b"half"))
    assert stand.quay.documents == {}
    staged.staging.drop()
    staged.staging.drop()
    assert stand.quay.documents == {}
    assert stand.kept == []
    assert list((stand.room._folder).iterdir()) == []


async def test_somebody_else_changed_it_meanwhile(stand: Stand) -> None:
    staged = await stand.desk.answer(StageWish(stand.ref("quay:a.txt"), False), 5)
    assert isinstance(staged, Staged)
    stand.quay.documents[QUAY + "a.txt"] = b"theirs"
    stand.desk.take(DataWish(staged.staging, b"ours"))
    with pytest.raises(ChangedMeanwhile):
        await stand.desk.answer(DeliverWish(staged.staging), 5)
    assert stand.quay.documents == {QUAY + "a.txt": b"theirs"}
    assert stand.kept == []


@pytest.mark.parametrize(
    "fault",
    [CannotConnect(), BrokenOff(), TooSlow(), FarBusy(), CredentialsRefused(), Untrusted(), MayBeDone()],
    ids=lambda each: type(each).__name__,
)
async def test_what_may_be_delivered_later_is_kept(stand: Stand, fault: HeadraceError) -> None:
    before = fault.sentence
    stand.quay.faults["write"] = fault
    with pytest.raises(type(fault)) as caught:
        await stand.store("quay:a.txt", b"mine")
    assert caught.value.sentence == f"{before}; kept"
    assert stand.kept == [("store", "QUAY:a.txt", before)]
    assert stand.quay.documents == {}


@pytest.mark.parametrize(
    "fault",
    [NotThere(), NameNotAllowed(), NotPossible(), NotAllowed(), ChangedMeanwhile()],
    ids=lambda each: type(each).__name__,
)
async def test_what_was_refused_for_good_is_not(stand: Stand, fault: HeadraceError) -> None:
    stand.quay.faults["write"] = fault
    with pytest.raises(type(fault)) as caught:
        await stand.store("quay:a.txt", b"mine")
    assert "kept" not in caught.value.sentence
    assert stand.kept == []


async def test_a_client_that_tries_again_and_gets_through_leaves_nothing_behind(stand: Stand) -> None:
    for append in (False, True):
        stand.quay.faults["write"] = CannotConnect()
        for _ in range(3):
            with pytest.raises(CannotConnect):
                await stand.store("quay:a.txt", b"mine", append=append)
        assert stand.kept
        del stand.quay.faults["write"]
        await stand.store("quay:a.txt", b"mine", append=append)
        assert stand.kept == []
    assert stand.quay.documents == {QUAY + "a.txt": b"minemine"}


async def test_a_far_server_that_is_away_from_the_start_takes_nothing_in(stand: Stand) -> None:
    stand.quay.faults["stat"] = CannotConnect()
    with pytest.raises(CannotConnect):
        await stand.desk.answer(StageWish(stand.ref("quay:a.txt"), False), 5)
    assert stand.kept == []


async def test_a_place_that_cannot_and_a_folder(stand: Stand) -> None:
    stand.quay.able = ALL & ~Ability.APPEND
    with pytest.raises(NotPossible):
        await stand.desk.answer(StageWish(stand.ref("quay:a.txt"), True), 5)
    with pytest.raises(WrongDocument):
        await stand.desk.answer(StageWish(stand.ref("quay:folder/"), False), 5)


async def test_a_slow_delivery_goes_on_without_its_client(stand: Stand) -> None:
    stand.quay.hold = asyncio.Event()
    done = await stand.store("quay:a.txt", b"mine", seconds=0.05)
    assert done.code == 150
    assert dict(done.progress())["JOB"] == "STORE QUAY:a.txt, under way"
    assert stand.quay.documents == {}
    stand.quay.hold.set()
    await stand.jobs.aclose(5)
    assert stand.quay.documents == {QUAY + "a.txt": b"mine"}
    assert dict(done.progress())["JOB"] == "STORE QUAY:a.txt, done"
    assert stand.kept == []


async def test_a_gateway_that_goes_down_keeps_what_it_could_not_deliver(stand: Stand, tmp_path: Path) -> None:
    stand.quay.hold = asyncio.Event()
    assert (await stand.store("quay:a.txt", b"mine", seconds=0.05)).code == 150
    await stand.jobs.aclose(0.01)
    stand.room.close()
    assert stand.quay.documents == {}
    after = Stand(tmp_path)
    assert [each[:2] for each in after.kept] == [("store", "QUAY:a.txt")]
