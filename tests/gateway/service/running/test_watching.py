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
    task = asyncio.create_task(watch(path, known, changed, 0.01))
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


def test_a_missing_file_has_no_signature(tmp_path: Path) -> None:
    assert signature(tmp_path / "nothing") is None
