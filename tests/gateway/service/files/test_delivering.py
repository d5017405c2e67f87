"""What the spool holds is delivered later, with the rights of that time; what was cut off is swept up."""

import asyncio
from pathlib import Path

import pytest

from adapters.errors import CannotConnect, HeadraceError, NotAllowed
from adapters.files import Ability
from gateway.catalogue.reading import load_catalogue
from gateway.service.files.delivering import deliver, is_left_over, note_copy
from gateway.service.files.far import far_of
from gateway.service.spool.spool import Held, JobKind
from tests.gateway.service.files.memory import ALL
from tests.gateway.service.files.stand import LEDGER, QUAY, TEXT, Stand


@pytest.fixture
def stand(tmp_path: Path) -> Stand:
    return Stand(tmp_path)


async def held(stand: Stand, kind: str = "store") -> Held:
    """A job that could not be delivered."""
    stand.quay.faults["write"] = CannotConnect()
    with pytest.raises(CannotConnect):
        await stand.store("quay:a.txt", b"mine", append=kind == "append")
    del stand.quay.faults["write"]
    return taken(stand)


def taken(stand: Stand) -> Held:
    waiting = stand.room.opened().held()
    assert len(waiting) == 1
    job = stand.room.opened().take(waiting[0].number)
    assert job is not None
    return job


@pytest.mark.parametrize("kind", ["store", "append"])
async def test_delivered_later(stand: Stand, kind: str) -> None:
    written = await deliver(stand.catalogue, stand.adapters, await held(stand, kind))
    assert written.size == 4
    assert stand.quay.documents == {QUAY + "a.txt": b"mine"}
    assert stand.kept == []


async def test_what_tries_left_beside_it_is_swept_up_and_nothing_else(stand: Stand) -> None:
    others = ["b.txt.hr-00ff.part", "a.txt.part", "a.txt.hr-1", "xa.txt.hr-1.part"]
    stand.quay.documents = {QUAY + each: b"" for each in ["a.txt.hr-00ff00ff.part", *others]}
    await deliver(stand.catalogue, stand.adapters, await held(stand))
    assert sorted(stand.quay.documents) == sorted(QUAY + each for each in ["a.txt", *others])


async def test_a_sweep_that_fails_does_not_matter(stand: Stand) -> None:
    stand.quay.faults["list"] = CannotConnect()
    await deliver(stand.catalogue, stand.adapters, await held(stand))
    assert stand.kept == []


async def test_still_not(stand: Stand) -> None:
    job = await held(stand)
    stand.quay.faults["write"] = HeadraceError("Another reason")
    with pytest.raises(HeadraceError):
        await deliver(stand.catalogue, stand.adapters, job)
    assert stand.kept == [("store", "QUAY:a.txt", "Another reason")]


async def test_a_place_that_may_not_be_written_any_more(stand: Stand) -> None:
    job = await held(stand)
    shut = load_catalogue(TEXT.replace("write = true", "write = false"), "test.toml", lambda _: None)
    with pytest.raises(NotAllowed):
        await deliver(shut, stand.adapters, job)
    assert stand.quay.documents == {}
    assert [each[0] for each in stand.kept] == ["store"]


async def test_a_copy_that_a_killed_gateway_left(stand: Stand) -> None:
    stand.quay.documents[QUAY + "a.txt"] = b"mine"
    draft = stand.room.opened().begin(JobKind.COPY, "LEDGER:b.txt", source="QUAY:a.txt")
    written = await deliver(stand.catalogue, stand.adapters, draft.seal())
    assert written.size == 4
    assert stand.ledger.documents == {LEDGER + "b.txt": b"mine"}
    assert stand.kept == []


def test_a_made_up_name() -> None:
    assert is_left_over(b"a.hr-12.part", b"a")
    assert not is_left_over(b"a.hr-12.part", b"b")
    assert not is_left_over(b"a", b"a")


async def test_nothing_is_swept_where_that_is_not_wanted_or_not_possible(stand: Stand) -> None:
    left = QUAY + "a.txt.hr-00ff.part"
    stand.quay.documents = {left: b""}
    await deliver(stand.catalogue, stand.adapters, await held(stand), sweep=False)
    stand.quay.able = ALL & ~Ability.LIST
    await deliver(stand.catalogue, stand.adapters, await held(stand))
    assert left in stand.quay.documents


async def test_a_note_for_which_no_thread_could_be_had_is_no_job(
    stand: Stand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pthread_create(3), EAGAIN."""

    async def none_left(*_: object) -> None:
        raise RuntimeError("can't start new thread")

    far = far_of(stand.catalogue, stand.adapters.of, stand.ref("quay:a.txt"))
    monkeypatch.setattr(asyncio, "to_thread", none_left)
    with pytest.raises(RuntimeError):
        await note_copy(stand.room.opened(), far, far)
    assert stand.kept == []
    assert list((stand.room._folder).iterdir()) == []
