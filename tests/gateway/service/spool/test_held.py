"""A held job gives its bytes as often as wanted, and ends in one of four ways."""

import errno
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import HeadraceError
from gateway.service.spool.folder import Fault, SpoolFolder
from gateway.service.spool.spool import Held, Spool
from tests.gateway.service.spool.jobs import bytes_of, kept, names, sealed


def taken(spool: Spool, number: int) -> Held:
    held = spool.take(number)
    assert held is not None
    return held


@pytest.mark.parametrize("size", [0, 1, limits.CHUNK_BYTES, limits.CHUNK_BYTES + 1, 3 * limits.CHUNK_BYTES])
async def test_bytes_as_often_as_wanted(spool: Spool, size: int) -> None:
    body = bytes(range(256)) * (size // 256 + 1)
    held = sealed(spool, body[:size])
    moved: list[int] = []
    for _ in range(2):
        moved.clear()
        chunks = [chunk async for chunk in held.chunks(moved.append)]
        assert b"".join(chunks) == body[:size]
        assert all(0 < len(each) <= limits.CHUNK_BYTES for each in chunks)
        assert moved == sorted(moved)
        assert moved[-1] == size
    held.close()


async def test_two_readings_at_once(spool: Spool) -> None:
    held = sealed(spool, bytes(range(256)) * 1000)
    one, other = held.chunks(), held.chunks()
    first = await anext(one)
    assert await anext(other) == first
    assert first + b"".join([chunk async for chunk in one]) == bytes(range(256)) * 1000
    held.close()


def test_delivered_is_gone(spool: Spool, tmp_path: Path) -> None:
    held = sealed(spool)
    held.delivered()
    for again in (held.delivered, lambda: held.failed("x"), held.drop, held.close):
        again()
    assert names(tmp_path / "spool") == set()
    assert spool.held() == []


def test_failed_stays_and_says_why(spool: Spool) -> None:
    held = sealed(spool)
    held.failed("The far server took too long", doubtful=True)
    held.failed("What came after is not the cause")
    (waiting,) = spool.held()
    assert waiting.fault == Fault("The far server took too long", doubtful=True)
    assert (waiting.number, waiting.busy, waiting.record.job) == (held.number, False, held.job)


def test_dropped_after_it_failed(spool: Spool, tmp_path: Path) -> None:
    held = sealed(spool)
    held.failed("The place is read-only")
    held.drop()
    assert names(tmp_path / "spool") == set()


def test_dropped_after_it_failed_but_somebody_else_has_it_now(spool: Spool) -> None:
    held = sealed(spool)
    held.failed("The far server is failing")
    other = taken(spool, held.number)
    held.drop()
    assert len(spool.held()) == 1
    other.close()


def test_dropped_after_another_job_got_its_number(spool: Spool, tmp_path: Path) -> None:
    held = sealed(spool, b"first")
    held.failed("The far server is failing")
    taken(spool, held.number).delivered()
    other = Spool(tmp_path / "spool")  # begins to count anew
    number = kept(other, b"second")
    assert number == held.number
    held.drop()
    assert [each.number for each in other.held()] == [number]


def test_closed_is_as_it_was(spool: Spool) -> None:
    number = kept(spool)
    before = spool.held()
    held = taken(spool, number)
    assert [each.busy for each in spool.held()] == [True]
    held.close()
    assert spool.held() == before


async def test_a_job_whose_delivery_had_begun_is_doubtful(spool: Spool) -> None:
    """Should the gateway be killed now, nobody knows how far the far server came."""
    held = sealed(spool)
    assert not spool.held()[0].fault.doubtful
    async for _ in held.chunks():
        assert spool.held()[0].fault == Fault("The gateway ended meanwhile", doubtful=True)
    held.close()
    assert spool.held()[0].fault.doubtful


def test_a_store_that_is_delivered_makes_older_jobs_for_its_target_pointless(spool: Spool) -> None:
    old = [kept(spool, kind=kind) for kind in ("store", "append", "store")]
    elsewhere = kept(spool, ref="CLUB:elsewhere")
    held = sealed(spool)
    newer = kept(spool)
    assert [each.number for each in spool.held()] == [*old, elsewhere, held.number, newer]
    held.delivered()
    assert [each.number for each in spool.held()] == [elsewhere, newer]


def test_a_store_that_failed_leaves_older_ones(spool: Spool) -> None:
    numbers = [kept(spool), kept(spool)]
    assert [each.number for each in spool.held()] == numbers


def test_an_append_that_is_delivered_leaves_older_ones(spool: Spool) -> None:
    numbers = [kept(spool), kept(spool, b"other", "append")]
    sealed(spool, b"line", "append").delivered()
    assert [each.number for each in spool.held()] == numbers


def test_an_older_job_that_is_being_delivered_is_left_alone(spool: Spool) -> None:
    older = taken(spool, kept(spool))
    sealed(spool).delivered()
    assert [each.number for each in spool.held()] == [older.number]
    older.close()


@pytest.mark.parametrize("size", [1, 100, 3 * limits.CHUNK_BYTES])
@pytest.mark.parametrize("how", ["changed", "cut"])
async def test_bytes_that_changed_on_disk_are_never_delivered_whole(
    spool: Spool, tmp_path: Path, caplog: pytest.LogCaptureFixture, how: str, size: int
) -> None:
    held = sealed(spool, bytes(size))
    path = tmp_path / "spool" / f"{held.number}.data"
    path.write_bytes(bytes(size - 1) + (b"x" if how == "changed" else b""))
    came = bytearray()
    with pytest.raises(HeadraceError, match="damaged"):
        async for chunk in held.chunks():
            came += chunk
    assert len(came) < size
    held.failed("The spool's copy is damaged")
    assert spool.held() == []
    assert spool.damaged == 1
    assert "set aside" in caplog.text
    assert path.with_name(f"{held.number}.data.damaged").exists()


async def test_after_its_end_nothing_is_read(spool: Spool) -> None:
    held = sealed(spool)
    held.failed("x")
    with pytest.raises(HeadraceError, match="cannot be read"):
        await bytes_of(held)


def test_a_spool_that_cannot_remove_it_does_not_fail_the_client(
    spool: Spool, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def failing(path: Path, missing_ok: bool = False) -> None:
        raise OSError(30, "read-only")

    held = sealed(spool)
    monkeypatch.setattr(Path, "unlink", failing)
    held.delivered()
    assert "cannot be removed" in caplog.text


@pytest.mark.parametrize("call", ["lock", "remove"])
def test_an_older_job_that_cannot_be_removed_does_not_fail_the_newer(
    spool: Spool, call: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The next look at the spool deals with it; nothing stays locked."""
    older, held = kept(spool), sealed(spool)
    real = getattr(SpoolFolder, call)

    def fails(folder: SpoolFolder, number: int) -> object:
        if number == older:
            raise OSError(errno.EIO, "made to fail")
        return real(folder, number)

    with monkeypatch.context() as patch:
        patch.setattr(SpoolFolder, call, fails)
        held.delivered()
    assert [each.number for each in spool.held()] == [older]
    taken(spool, older).close()
