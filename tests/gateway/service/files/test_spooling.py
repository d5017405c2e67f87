"""The state folder's spool: opened when needed, looked at when a gateway starts."""

import logging
import shutil
from pathlib import Path

import pytest

from adapters.errors import CannotConnect, NoRoom
from gateway.service.files.spooling import SpoolRoom
from gateway.service.spool.folder import SpoolFolder
from tests.gateway.service.files.stand import Stand


def test_a_gateway_that_stores_nothing_makes_no_folder(tmp_path: Path) -> None:
    room = SpoolRoom(tmp_path / "state")
    room.look()
    room.close()
    assert not (tmp_path / "state").exists()


async def test_what_waits_is_told_at_the_start(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    stand = Stand(tmp_path)
    stand.quay.faults["write"] = CannotConnect()
    with pytest.raises(CannotConnect):
        await stand.store("quay:a.txt", b"mine")
    with caplog.at_level(logging.WARNING):
        SpoolRoom(tmp_path).look()
    assert [record.levelname for record in caplog.records] == ["WARNING"]
    assert "headrace spool" in caplog.text


def test_a_folder_that_cannot_be_used_costs_only_who_needs_it(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(_: SpoolFolder) -> None:
        raise OSError(5, "the disk fails")

    monkeypatch.setattr(SpoolFolder, "look", failing)
    (tmp_path / "spool").mkdir()
    room = SpoolRoom(tmp_path)
    room.look()
    assert "spool" in caplog.text
    with pytest.raises(NoRoom):
        room.opened()


async def test_what_is_damaged_is_told_at_every_start(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    stand = Stand(tmp_path)
    stand.quay.faults["write"] = CannotConnect()
    with pytest.raises(CannotConnect):
        await stand.store("quay:a.txt", b"mine")
    (tmp_path / "spool" / "1.data").unlink()
    for levels in (["ERROR", "WARNING"], ["WARNING"]):
        caplog.clear()
        SpoolRoom(tmp_path).look()
        assert [record.levelname for record in caplog.records] == levels
        assert "lie aside" in caplog.text


async def test_a_folder_that_somebody_removed_is_made_anew(tmp_path: Path) -> None:
    stand = Stand(tmp_path)
    await stand.store("quay:a.txt", b"mine")
    shutil.rmtree(tmp_path / "spool")
    await stand.store("quay:a.txt", b"more")
    assert (tmp_path / "spool").is_dir()
