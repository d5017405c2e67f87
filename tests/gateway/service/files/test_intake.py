"""STORE and APPEND: all or nothing, kept where it can still be delivered, and nobody's work overwritten."""

import asyncio
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    CannotConnect,
    ChangedMeanwhile,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NameNotAllowed,
    NoRoom,
    NotAllowed,
    NotPossible,
    NotThere,
    TooSlow,
    Untrusted,
    WrongDocument,
)
from adapters.files import Ability
from gateway.catalogue.reading import load_catalogue
from gateway.service.files.delivering import deliver
from gateway.service.spool.spool import Draft, Held
from gateway.session.wishes import Act, ActWish, DataWish, DeliverWish, Done, Staged, StageWish
from tests.gateway.service.files.memory import ALL
from tests.gateway.service.files.stand import QUAY, TEXT, Stand


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
    assert caught.value.sentence == f"Kept. {before}"
    number = stand.room.opened().held()[0].number
    assert caught.value.notes == (("SPOOL", f"number {number}: headrace spool"),)
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
    assert "Kept" not in caught.value.sentence
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


async def test_a_missing_folder_is_told_before_anything_is_typed(stand: Stand) -> None:
    with pytest.raises(NotThere, match="No such folder there"):
        await stand.desk.answer(StageWish(stand.ref("quay:sub/a.txt"), False), 5)
    stand.quay.able = ALL & ~Ability.MAKE_FOLDER  # such as a web server, which may do as it likes
    assert (await stand.store("quay:sub/a.txt", b"mine")).code == 250
    stand.quay.able, stand.quay.documents = ALL, {QUAY + "sub/": b"a document, with or without a slash"}
    with pytest.raises(NotThere, match="No such folder there"):
        await stand.desk.answer(StageWish(stand.ref("quay:sub/b.txt"), False), 5)
    stand.quay.folders.add(QUAY + "sub/")
    assert (await stand.store("quay:sub/a.txt", b"mine")).code == 250


async def begun(stand: Stand, text: str, append: bool = False) -> Staged:
    staged = await stand.desk.answer(StageWish(stand.ref(text), append), 5)
    assert isinstance(staged, Staged)
    stand.desk.take(DataWish(staged.staging, b"mine"))
    return staged


async def test_two_stores_at_once_do_not_cross(stand: Stand) -> None:
    stand.quay.able = ALL & ~Ability.STAT  # nothing far shows that there was another
    first, second = await begun(stand, "quay:a.txt"), await begun(stand, "quay:a.txt")
    await stand.desk.answer(DeliverWish(first.staging), 5)
    with pytest.raises(ChangedMeanwhile):
        await stand.desk.answer(DeliverWish(second.staging), 5)
    third = await begun(stand, "quay:a.txt")
    await stand.desk.answer(DeliverWish(third.staging), 5)
    assert stand.kept == []


async def test_two_appends_at_once_are_both_there(stand: Stand) -> None:
    stand.quay.documents[QUAY + "log"] = b"old "
    first, second = await begun(stand, "quay:log", True), await begun(stand, "quay:%6cog", True)
    await asyncio.gather(
        stand.desk.answer(DeliverWish(first.staging), 5), stand.desk.answer(DeliverWish(second.staging), 5)
    )
    assert stand.quay.documents == {QUAY + "log": b"old minemine"}


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [("write = true", "write = false", NotAllowed), ("[place.quay]", "[place.pier]", NotThere)],
)
async def test_rights_are_those_at_the_end(
    stand: Stand, old: str, new: str, fault: type[HeadraceError]
) -> None:
    staged = await begun(stand, "quay:a.txt")
    stand.catalogue = load_catalogue(TEXT.replace(old, new), "test.toml", lambda _: None)
    with pytest.raises(fault):
        await stand.desk.answer(DeliverWish(staged.staging), 5)
    assert stand.quay.documents == {}
    assert stand.kept == []


async def test_what_finds_no_room_is_refused_whole(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    staged = await begun(stand, "quay:a.txt")
    monkeypatch.setattr(limits, "JOBS", 0)
    with pytest.raises(NoRoom):
        await stand.desk.answer(DeliverWish(staged.staging), 5)
    assert stand.kept == []
    assert list(stand.room._folder.iterdir()) == []


async def test_a_client_that_leaves_while_its_data_are_made_safe(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    staged, seal = await begun(stand, "quay:a.txt"), Draft.seal

    def slowly(draft: Draft) -> Held:
        time.sleep(0.1)
        return seal(draft)

    monkeypatch.setattr(Draft, "seal", slowly)
    waiting = asyncio.create_task(stand.desk.answer(DeliverWish(staged.staging), 5))
    await asyncio.sleep(0.02)
    waiting.cancel()
    await asyncio.gather(waiting, return_exceptions=True)
    await stand.jobs.aclose(5)
    assert stand.quay.documents == {QUAY + "a.txt": b"mine"}
    assert stand.kept == []


async def test_a_slow_disk_counts_within_the_time(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    staged, seal = await begun(stand, "quay:a.txt"), Draft.seal

    def slowly(draft: Draft) -> Held:
        time.sleep(0.3)
        return seal(draft)

    monkeypatch.setattr(Draft, "seal", slowly)
    done = await stand.desk.answer(DeliverWish(staged.staging), 0.05)
    assert isinstance(done, Done)
    assert done.code == 150
    await stand.jobs.aclose(5)
    assert stand.quay.documents == {QUAY + "a.txt": b"mine"}


async def test_a_refusal_that_its_client_does_not_hear_is_kept(stand: Stand) -> None:
    stand.quay.hold = asyncio.Event()
    stand.quay.faults["commit"] = NameNotAllowed()
    done = await stand.store("quay:a.txt", b"mine", seconds=0.05)
    assert done.code == 150
    stand.quay.hold.set()
    await stand.jobs.aclose(5)
    assert [each[0] for each in stand.kept] == ["store"]


async def test_a_client_that_tries_and_tries_fills_no_spool(stand: Stand) -> None:
    stand.quay.faults["write"] = CannotConnect()
    for number in range(3):
        with pytest.raises(CannotConnect):
            await stand.store("quay:a.txt", b"try %d" % number)
    assert len(stand.kept) == 1
    del stand.quay.faults["write"]
    waiting = stand.room.opened().held()[0].number
    held = stand.room.opened().take(waiting)
    assert held is not None
    await deliver(stand.catalogue, stand.adapters, held)
    assert stand.quay.documents == {QUAY + "a.txt": b"try 2"}


async def test_a_fault_of_our_own_is_doubtful_and_kept(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    async def broken(*_: object) -> None:
        raise ZeroDivisionError

    staged = await begun(stand, "quay:a.txt")
    monkeypatch.setattr(stand.quay, "write", broken)
    with pytest.raises(MayBeDone):
        await stand.desk.answer(DeliverWish(staged.staging), 5)
    assert stand.kept == [("store", "QUAY:a.txt", "The gateway failed")]


async def test_why_shows_no_query(stand: Stand) -> None:
    text = TEXT + '[place.web]\nbase = "https://web.example/"\n'
    stand.catalogue = load_catalogue(text, "test.toml", lambda _: None)
    stand.ledger.documents["https://web.example/a?key=hush"] = b"x"
    wish = ActWish(Act.COPY, stand.ref("web:a?key=hush"), stand.ref("quay:a"))
    done = await stand.desk.answer(wish, 5)
    assert isinstance(done, Done)
    assert "hush" not in str(done.progress())


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


def no_thread(*_: object) -> None:
    raise RuntimeError("can't start new thread")


@pytest.mark.parametrize("append", [False, True])
async def test_without_a_thread_to_make_it_safe_nothing_stays(
    stand: Stand, append: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pthread_create(3), EAGAIN: what was taken in, its descriptor and its lock go with the reply."""
    staged = await begun(stand, "quay:a.txt", append=append)
    with monkeypatch.context() as patch:
        patch.setattr(ThreadPoolExecutor, "submit", no_thread)
        with pytest.raises(MayBeDone):
            await stand.desk.answer(DeliverWish(staged.staging), 5)
        await stand.jobs.aclose(5)
    assert stand.room.opened()._drafts == set()
    assert list(stand.room._folder.iterdir()) == []


async def test_a_job_that_never_had_its_turn_is_let_go(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is sealed, and waits for its turn, when the gateway goes down: the next one can take it."""
    stand.quay.hold = asyncio.Event()
    first = asyncio.create_task(stand.store("quay:a.txt", b"first"))
    staged = await begun(stand, "quay:a.txt", append=True)
    done = await stand.desk.answer(DeliverWish(staged.staging), 0.2)
    assert isinstance(done, Done)
    assert done.code == 150
    await stand.jobs.aclose(0.01)
    await asyncio.gather(first, return_exceptions=True)
    assert {each.busy for each in stand.room.opened().held()} == {False}


def test_documents_that_were_changed_are_remembered_up_to_a_limit(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "CHANGED_DOCUMENTS", 3)
    intakes = stand.desk._intakes
    for name in ("a", "b", "a", "c", "d"):
        intakes.note(QUAY + name)
    assert intakes._serials == {QUAY + "a": 2, QUAY + "c": 1, QUAY + "d": 1}
