"""Room is given until a limit is reached, and what other processes freed counts."""

from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import NoRoom
from gateway.service.spool.spool import Spool
from tests.gateway.service.spool.jobs import kept, names, sealed


def test_bytes(spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPOOL_BYTES", 100)
    kept(spool, bytes(60))
    draft = spool.begin("store", "CLUB:b")
    draft.write(bytes(40))  # exactly
    with pytest.raises(NoRoom, match="keeps too much"):
        draft.write(b"x")
    assert names(tmp_path / "spool") == {"1.data", "1.job", "1.spare", "1.fault"}
    for _ in range(2):  # and goes on saying so
        with pytest.raises(NoRoom):
            draft.write(b"x")
    with pytest.raises(NoRoom):
        draft.seal()
    sealed(spool, bytes(40)).close()


def test_jobs(spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPOOL_JOBS", 2)
    kept(spool)
    draft = spool.begin("store", "CLUB:b")
    with pytest.raises(NoRoom, match="Too many"):
        spool.begin("store", "CLUB:c")
    draft.drop()
    spool.begin("store", "CLUB:c").drop()
    assert names(tmp_path / "spool") == {"1.data", "1.job", "1.spare", "1.fault"}


def test_the_disks_reserve(spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPOOL_RESERVE_BYTES", 1 << 62)
    monkeypatch.setattr(limits, "DISK_RESERVE_PART", 1)
    with pytest.raises(NoRoom, match="disk is full"):
        spool.begin("store", "CLUB:a")
    assert names(tmp_path / "spool") == set()


@pytest.mark.parametrize(("name", "limit"), [("SPOOL_BYTES", 100), ("SPOOL_JOBS", 2)])
def test_what_another_process_removed_makes_room(
    spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, limit: int
) -> None:
    monkeypatch.setattr(limits, name, limit)
    numbers = [kept(spool, bytes(50), ref=f"CLUB:{number}") for number in range(2)]
    other = Spool(tmp_path / "spool")
    for number in numbers:
        held = other.take(number)
        assert held is not None
        held.delivered()
    for _ in range(2):
        sealed(spool, bytes(50)).close()


def test_what_lies_there_from_before_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept(Spool(tmp_path / "spool"), bytes(60))
    monkeypatch.setattr(limits, "SPOOL_BYTES", 100)
    draft = Spool(tmp_path / "spool").begin("store", "CLUB:b")
    with pytest.raises(NoRoom):
        draft.write(bytes(41))


def test_what_is_delivered_makes_room(spool: Spool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPOOL_BYTES", 100)
    for _ in range(5):
        sealed(spool, bytes(100)).delivered()
    for _ in range(5):
        draft = spool.begin("store", "CLUB:a")
        draft.write(bytes(100))
        draft.drop()
