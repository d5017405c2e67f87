"""Polling a file that editors replace."""

import asyncio
from pathlib import Path

from gateway.service.running.watching import signature, watch


async def test_a_change_is_told_once_it_rests(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_text("one")
    known, told = signature(path), []

    async def changed() -> None:
        told.append(path.read_text())

    path.write_text("changed before the watch began")
    task = asyncio.create_task(watch(lambda: path, known, changed, 0.01))
    await asyncio.sleep(0.1)
    assert told == ["changed before the watch began"]
    path.unlink()
    await asyncio.sleep(0.05)
    (tmp_path / "new").write_text("replaced")
    (tmp_path / "new").replace(path)
    await asyncio.sleep(0.1)
    assert told == ["changed before the watch began", "replaced"]
    await asyncio.sleep(0.05)
    assert len(told) == 2
    task.cancel()
    await asyncio.wait({task})


async def test_another_file_from_some_time_on(tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    one.write_text("first")
    watched, told = [one], list[str]()

    async def changed() -> None:
        told.append(watched[0].read_text())

    task = asyncio.create_task(watch(lambda: watched[0], signature(one), changed, 0.01))
    watched[0] = other
    await asyncio.sleep(0.05)
    assert not told  # it is not there yet
    other.write_text("second")
    one.write_text("nobody looks")
    await asyncio.sleep(0.1)
    assert told == ["second"]
    task.cancel()
    await asyncio.wait({task})


def test_a_missing_file_has_no_signature(tmp_path: Path) -> None:
    assert signature(tmp_path / "nothing") is None
