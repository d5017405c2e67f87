"""A cache's file that is damaged, at the start or under an open connection: set aside with one loud line and
begun anew, or mended, and no client hears of it.
"""

import logging
import os
import random
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from adapters.port import Fetched
from gateway.service.caching.freshness import Copy
from gateway.service.caching.store import Store
from gateway.service.caching.storefile import FILE_NAME
from gateway.service.damage import lying_aside

KEYS = [f"{number:064x}" for number in range(40)]
COPIES = {key: Copy(Fetched(key.encode() * 150), float(number)) for number, key in enumerate(KEYS)}
LATER = Copy(Fetched(b"later"), 99.0)


async def filled(folder: Path) -> Store:
    store = Store(folder)
    for key, copy in COPIES.items():
        store.save(key, copy)
    await store.flush()
    return store


def checkpointed(folder: Path) -> None:
    """What is in the log goes into the file (sqlite.org/wal.html, PRAGMA wal_checkpoint)."""
    connection = sqlite3.connect(folder / FILE_NAME)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


async def works(store: Store) -> bool:
    """At once: nothing waits for the pause after a failure."""
    store.save(KEYS[0], LATER)
    return await store.load(KEYS[0]) == LATER


def logged(caplog: pytest.LogCaptureFixture) -> list[int]:
    return [each.levelno for each in caplog.records]


def _changed(statement: str) -> Callable[[Path], None]:
    def change(path: Path) -> None:
        connection = sqlite3.connect(path)
        connection.executescript(statement)
        connection.close()

    return change


def _folder(path: Path) -> None:
    path.unlink()
    path.mkdir()
    (path / "inside").write_text("of somebody")


def _fifo(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def _text(path: Path) -> None:
    path.write_text("no database")


def _written(offset: int, data: bytes) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        with path.open("r+b") as file:
            file.seek(offset)
            file.write(data)

    return write


HARM: dict[str, Callable[[Path], None]] = {
    "a folder": _folder,
    "a FIFO": _fifo,
    "text": _text,
    "a short header": lambda path: os.truncate(path, 60),
    "half of it": lambda path: os.truncate(path, path.stat().st_size // 2 // 4096 * 4096),
    "no magic": _written(0, b"X"),
    "a later version of SQLite": _written(18, b"\x09\x09"),
    "another page size": _written(16, b"\x02\x00"),
    "another version": _changed("PRAGMA user_version = 7"),
    "another program's": _changed("PRAGMA application_id = 7"),
    "no table": _changed("DROP TABLE copies"),
    "other columns": _changed("ALTER TABLE copies RENAME COLUMN body TO content"),
    "no trigger": _changed("DROP TRIGGER copy_added"),
    "a wrong sum": _changed("UPDATE whole SET size = -1000000000000"),
    "a garbled name": _changed(
        "PRAGMA writable_schema = ON;"
        "UPDATE sqlite_master SET name = CAST(x'fffe' AS TEXT), sql = 'garbled' WHERE name = 'whole'"
    ),
    "a trigger that refuses": _changed(
        "CREATE TRIGGER no BEFORE INSERT ON copies BEGIN SELECT RAISE(ABORT, 'no'); END"
    ),
    "no number as a sum": _changed("UPDATE whole SET size = 'x'"),
}
"""The file format's offsets are those of sqlite.org/fileformat.html section 1.3."""


@pytest.mark.parametrize("how", HARM)
async def test_at_the_start(tmp_path: Path, how: str, caplog: pytest.LogCaptureFixture) -> None:
    store = await filled(tmp_path)
    await store.aclose()
    HARM[how](tmp_path / FILE_NAME)
    store = Store(tmp_path)
    found = {key: await store.load(key) for key in KEYS}
    assert all(copy in (None, COPIES[key]) for key, copy in found.items())
    assert await works(store)
    await store.aclose()
    assert logged(caplog) == [logging.ERROR]
    assert (tmp_path / f"{FILE_NAME}.damaged").exists()


IN_SERVICE = [how for how in HARM if how not in {"a folder", "a FIFO"}]


@pytest.mark.parametrize("how", IN_SERVICE)
async def test_in_service(tmp_path: Path, how: str, caplog: pytest.LogCaptureFixture) -> None:
    """The pages are in SQLite's own memory too, so that not all damage shows at once; but no wrong copy comes
    and all works.
    """
    store = await filled(tmp_path)
    checkpointed(tmp_path)
    HARM[how](tmp_path / FILE_NAME)
    for _ in range(2):
        for key in KEYS:
            assert await store.load(key) in (None, COPIES[key])
        assert await works(store)
        store.forget(KEYS[0])
    await store.aclose()
    store = Store(tmp_path)
    assert await works(store)
    await store.aclose()
    assert set(logged(caplog)) <= {logging.ERROR}
    assert len(caplog.records) <= 2


@pytest.mark.parametrize("how", ["a folder", "text", "removed"])
async def test_another_thing_under_its_name_in_service(
    tmp_path: Path, how: str, caplog: pytest.LogCaptureFixture
) -> None:
    """What is written from then on is there after the next start."""
    store = await filled(tmp_path)
    path = tmp_path / FILE_NAME
    path.rename(tmp_path / "elsewhere")
    if how != "removed":
        path.touch()
        HARM[how](path)
    assert await works(store)
    await store.aclose()
    store = Store(tmp_path)
    assert await store.load(KEYS[0]) == LATER
    await store.aclose()
    assert set(logged(caplog)) <= {logging.ERROR}
    assert bool(caplog.records) == (how == "a folder")  # the log may make a whole file of the others


@pytest.mark.parametrize("suffix", ["-wal", "-shm"])
async def test_a_folder_in_place_of_its_log(
    tmp_path: Path, suffix: str, caplog: pytest.LogCaptureFixture
) -> None:
    store = await filled(tmp_path)
    await store.aclose()
    (tmp_path / f"{FILE_NAME}{suffix}").mkdir()
    store = Store(tmp_path)
    assert await works(store)
    await store.aclose()
    assert logged(caplog) == [logging.ERROR]


async def test_a_file_without_rights_gets_them_back(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    store = await filled(tmp_path)
    await store.aclose()
    (tmp_path / FILE_NAME).chmod(0o000)
    store = Store(tmp_path)
    assert await store.load(KEYS[1]) == COPIES[KEYS[1]]
    assert await works(store)
    await store.aclose()
    assert (tmp_path / FILE_NAME).stat().st_mode & 0o777 == 0o600
    assert caplog.records == []


async def test_a_file_of_somebody_else_is_set_aside(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Played, as root may read everything: the file cannot be used, and its mode cannot be changed."""
    store = await filled(tmp_path)
    await store.aclose()
    (tmp_path / FILE_NAME).chmod(0o000)
    real = os.access

    def access(path: Path, mode: int) -> bool:
        return bool(Path(path).stat().st_mode & 0o600) and real(path, mode)

    def chmod(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "access", access)
    monkeypatch.setattr(Path, "chmod", chmod)
    store = Store(tmp_path)
    assert await works(store)
    await store.aclose()
    assert logged(caplog) == [logging.ERROR]


async def test_text_that_is_no_text_costs_one_copy(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    store = await filled(tmp_path)
    await store.aclose()
    _changed(f"UPDATE copies SET said = CAST(x'fffe' AS TEXT) WHERE key = '{KEYS[1]}'")(tmp_path / FILE_NAME)
    store = Store(tmp_path)
    assert await store.load(KEYS[1]) is None
    assert await store.load(KEYS[2]) == COPIES[KEYS[2]]
    await store.aclose()
    assert logged(caplog) == [logging.ERROR]
    assert "was deleted" in caplog.text


async def test_what_was_set_aside_is_in_nobodys_way(tmp_path: Path) -> None:
    """The last one stays; so does a folder that has its name."""
    (tmp_path / f"{FILE_NAME}.damaged").mkdir()
    for text in ("first", "second"):
        (tmp_path / FILE_NAME).write_text(text)
        store = Store(tmp_path)
        assert await works(store)
        await store.aclose()
    kept = lying_aside(tmp_path)
    assert len(kept) <= 3
    assert "second" in {each.read_text() for each in kept if each.is_file()}


def _harmed(chance: random.Random, folder: Path) -> None:
    path = folder / f"{FILE_NAME}{chance.choice(('', '', '', '-wal'))}"
    if not path.exists() or not path.stat().st_size:
        path = folder / FILE_NAME
    size = path.stat().st_size
    how = chance.randrange(5)
    if how == 0:
        os.truncate(path, chance.randrange(size))
        return
    with path.open("r+b") as file:
        for _ in range(chance.choice((1, 3, 30))):
            at = chance.randrange(100) if how == 1 else chance.randrange(size)
            if how == 2:
                at = chance.randrange(size) // 4096 * 4096 + chance.randrange(12)  # the header of a page
            file.seek(at)
            length = 4096 if how == 3 else 1
            file.write(chance.randbytes(length))


ROUNDS = int(os.environ.get("HEADRACE_DAMAGES", "20"))


@pytest.mark.parametrize("seed", range(ROUNDS))
async def test_whatever_happens_to_its_bytes(
    tmp_path: Path, seed: int, caplog: pytest.LogCaptureFixture
) -> None:
    chance = random.Random(seed)
    store = await filled(tmp_path)
    if chance.random() < 0.5:
        checkpointed(tmp_path)
    if chance.random() < 0.5:
        await store.aclose()
        store = Store(tmp_path)
        _harmed(chance, tmp_path)
    else:
        _harmed(chance, tmp_path)
    for key in chance.sample(KEYS, 20):
        copy = await store.load(key)
        assert copy in (None, COPIES[key]), seed
        if chance.random() < 0.3:
            store.save(key, COPIES[key])
    assert await works(store), (seed, [each.__dict__.get("why") for each in caplog.records])
    await store.aclose()
    assert set(logged(caplog)) <= {logging.ERROR}, (
        seed,
        [each.__dict__.get("why") for each in caplog.records],
    )
    store = Store(tmp_path)
    assert await works(store), (seed, [each.__dict__.get("why") for each in caplog.records])
    await store.aclose()
