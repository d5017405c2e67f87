"""The cache's SQLite file: what comes back, what it may cost, and what damage does."""

import dataclasses
import errno
import logging
import os
import sqlite3
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters import limits
from adapters.port import Fetched, Freshness, Validators
from gateway.service.caching.freshness import Copy
from gateway.service.caching.storefile import FILE_NAME, StoreFile, _read
from tests.disks import descriptors

KEY = "0" * 64
OTHER = "0" * 32 + "1" * 32
COPY = Copy(
    Fetched(
        body=b"\x00body\xff",
        media_type="application/json",
        charset="utf-8",
        status=203,
        validators=Validators('W/"a"', "Tue, 01 Jan 2030 00:00:00 GMT"),
        freshness=Freshness(60, True, True),
        origin="https://far.example:443",
    ),
    taken=1_700_000_000.123456,
    delay=0.25,
)
BIG = 1 << 20


def sized(pages: int, taken: float = 0.0, mark: int = 0) -> Copy:
    """A copy that takes `pages` whole pages on disk."""
    return Copy(Fetched(bytes((mark,)) * (pages * limits.STORE_PAGE_BYTES - 500)), taken)


@pytest.fixture
def file(tmp_path: Path) -> Iterator[StoreFile]:
    opened = StoreFile(tmp_path / "state", BIG)
    opened.ready()
    yield opened
    opened.close()


def path_of(tmp_path: Path) -> Path:
    return tmp_path / "state" / FILE_NAME


def reopened(tmp_path: Path, limit: int = BIG) -> StoreFile:
    again = StoreFile(tmp_path / "state", limit)
    again.ready()
    return again


def test_what_is_saved_comes_back_whole(file: StoreFile, tmp_path: Path) -> None:
    file.save(KEY, COPY)
    assert file.load(KEY) == COPY
    file.close()
    again = reopened(tmp_path)
    assert again.load(KEY) == COPY
    again.close()


def test_nothing_of_an_answer_is_forgotten_on_the_way() -> None:
    """COPY differs from the default in every field that is kept, so a field added to the port shows here."""
    for value in (COPY.fetched, COPY.fetched.validators, COPY.fetched.freshness):
        for each in dataclasses.fields(value):
            if each.name not in {"steps", "not_modified"}:  # of the moment, not of the document
                assert getattr(value, each.name) != each.default, each.name


text = st.text(max_size=20)


@settings(max_examples=50, deadline=None)
@given(
    body=st.binary(max_size=200),
    words=st.tuples(text, st.none() | text, st.none() | text, st.none() | text, text),
    max_age=st.none() | st.integers(0, 2**40),
    taken=st.floats(0, 1e11),
)
def test_whatever_an_answer_says_comes_back(
    tmp_path_factory: pytest.TempPathFactory,
    body: bytes,
    words: tuple[str, str | None, str | None, str | None, str],
    max_age: int | None,
    taken: float,
) -> None:
    media_type, charset, etag, modified, origin = words
    copy = Copy(
        Fetched(
            body,
            media_type,
            charset,
            validators=Validators(etag, modified),
            freshness=Freshness(max_age),
            origin=origin,
        ),
        taken,
    )
    file = StoreFile(tmp_path_factory.mktemp("state"), BIG)
    file.save(KEY, copy)
    assert file.load(KEY) == copy
    file.close()


def test_a_newer_copy_replaces_the_older(file: StoreFile, tmp_path: Path) -> None:
    file.save(KEY, COPY)
    newer = Copy(Fetched(b"new"), 5.0)
    file.save(KEY, newer)
    validated = Copy(Fetched(b"new", freshness=Freshness(9)), 6.0)
    file.save(KEY, validated)
    assert file.load(KEY) == validated
    assert count(tmp_path) == 1


def count(tmp_path: Path) -> int:
    with sqlite3.connect(path_of(tmp_path)) as connection:
        (number,) = connection.execute("SELECT count(*) FROM copies").fetchone()
    connection.close()
    return int(number)


def test_forgetting_by_the_whole_key_or_its_beginning(file: StoreFile) -> None:
    keys = (KEY, OTHER, "f" * 64)
    for key in keys:
        file.save(key, COPY)
    file.forget((OTHER,))
    assert [file.load(key) is not None for key in keys] == [True, False, True]
    file.save(OTHER, COPY)
    file.forget(("0" * 32,))
    assert [file.load(key) is not None for key in keys] == [False, False, True]
    file.forget(("",))
    assert file.load("f" * 64) is None


# Who may read it


def test_only_the_owner_reads_it(file: StoreFile, tmp_path: Path) -> None:
    file.save(KEY, COPY)
    assert stat.S_IMODE((tmp_path / "state").stat().st_mode) == 0o700
    files = list((tmp_path / "state").iterdir())
    assert {each.name for each in files} == {FILE_NAME, f"{FILE_NAME}-wal", f"{FILE_NAME}-shm"}
    for each in files:
        assert stat.S_IMODE(each.stat().st_mode) == 0o600, each.name


def test_the_umask_makes_nothing_wider_or_narrower(tmp_path: Path) -> None:
    before = os.umask(0o277)
    try:
        file = StoreFile(tmp_path / "state", BIG)
        assert file.ready()
        file.close()
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "state").stat().st_mode) == 0o700


def test_a_folder_that_was_there_keeps_its_mode_and_the_file_is_narrowed(tmp_path: Path) -> None:
    """The folder may be somebody's; the file is ours."""
    (tmp_path / "state").mkdir(mode=0o755)
    (tmp_path / "state").chmod(0o755)
    reopened(tmp_path).close()
    path_of(tmp_path).chmod(0o644)
    reopened(tmp_path).close()
    assert stat.S_IMODE((tmp_path / "state").stat().st_mode) == 0o755
    assert stat.S_IMODE(path_of(tmp_path).stat().st_mode) == 0o600


# What it may cost


def test_the_oldest_go_when_it_is_full(tmp_path: Path) -> None:
    file = StoreFile(tmp_path / "state", 10 * limits.STORE_PAGE_BYTES)
    keys = [f"{number:064x}" for number in range(5)]
    for key in keys[:3]:
        file.save(key, sized(3))
    file.save(keys[0], sized(3, taken=9.0))  # validated: now the youngest
    file.save(keys[3], sized(4))
    assert [file.load(key) is not None for key in keys[:4]] == [True, False, True, True]
    file.save(keys[4], sized(10))
    assert [file.load(key) is not None for key in keys] == [False, False, False, False, True]
    file.close()


def test_a_copy_larger_than_all_is_not_written_and_the_older_one_goes(tmp_path: Path) -> None:
    file = StoreFile(tmp_path / "state", 3 * limits.STORE_PAGE_BYTES)
    file.save(KEY, sized(2))
    file.save(KEY, sized(4))
    assert file.load(KEY) is None
    file.close()


def test_a_clock_that_jumps_does_not_keep_the_wrong_ones(tmp_path: Path) -> None:
    file = StoreFile(tmp_path / "state", 4 * limits.STORE_PAGE_BYTES)
    file.save(KEY, sized(3, taken=4e9))
    file.save(OTHER, sized(3, taken=1.0))
    assert file.load(KEY) is None
    assert file.load(OTHER) is not None
    file.close()


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.integers(1, 12), st.integers(0, 255)), max_size=60))
def test_the_file_stays_near_its_limit(
    tmp_path_factory: pytest.TempPathFactory, writes: list[tuple[int, int, int]]
) -> None:
    limit = 20 * limits.STORE_PAGE_BYTES
    folder = tmp_path_factory.mktemp("state")
    file = StoreFile(folder, limit)
    for number, pages, mark in writes:
        file.save(f"{number:064x}", sized(pages, mark=mark))
    file.close()
    if writes:
        # One copy is in before the oldest go; schema, indexes and maps are a few pages.
        assert (folder / FILE_NAME).stat().st_size <= limit + (12 + 12) * limits.STORE_PAGE_BYTES
        with sqlite3.connect(folder / FILE_NAME) as connection:
            assert (
                connection.execute("SELECT size FROM whole").fetchone()
                == connection.execute("SELECT ifnull(sum(size), 0) FROM copies").fetchone()
            )
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        connection.close()


def test_a_lower_limit_shrinks_the_file(tmp_path: Path) -> None:
    file = reopened(tmp_path)
    for number in range(20):
        file.save(f"{number:064x}", sized(10))
    file.close()
    before = path_of(tmp_path).stat().st_size
    reopened(tmp_path, 20 * limits.STORE_PAGE_BYTES).close()
    assert path_of(tmp_path).stat().st_size < before / 4


# Damage


def set_aside(tmp_path: Path) -> Path:
    return tmp_path / "state" / f"{FILE_NAME}.damaged"


@pytest.mark.parametrize("content", [b"this is no database" * 100, b"SQLite format 3\x00" + bytes(5000)])
def test_a_file_that_is_no_database_is_set_aside(
    tmp_path: Path, content: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "state").mkdir()
    path_of(tmp_path).write_bytes(content)
    file = reopened(tmp_path)
    file.save(KEY, COPY)
    assert file.load(KEY) == COPY
    file.close()
    assert set_aside(tmp_path).read_bytes() == content
    assert [record.levelno for record in caplog.records] == [logging.ERROR]
    assert "set aside" in caplog.text


def test_damage_in_the_middle_is_met_when_read(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    file = reopened(tmp_path)
    for number in range(50):
        file.save(f"{number:064x}", sized(2, mark=number))
    file.close()
    data = bytearray(path_of(tmp_path).read_bytes())
    data[3 * 4096 :] = os.urandom(len(data) - 3 * 4096)
    path_of(tmp_path).write_bytes(data)
    file = reopened(tmp_path)
    found = [file.load(f"{number:064x}") for number in range(50)]
    assert not any(found)
    file.save(KEY, COPY)
    assert file.load(KEY) == COPY
    file.close()
    assert set_aside(tmp_path).exists() or "was deleted" in caplog.text
    assert any(record.levelno == logging.ERROR for record in caplog.records)


@pytest.mark.parametrize("column", ["body", "said", "digest", "seal"])
def test_a_changed_row_is_never_believed(
    tmp_path: Path, column: str, caplog: pytest.LogCaptureFixture
) -> None:
    """SQLite has no checksums of its own: a flipped bit in a value is nobody's error but ours to see."""
    file = reopened(tmp_path)
    file.save(KEY, COPY)
    file.save(OTHER, COPY)
    file.close()
    with sqlite3.connect(path_of(tmp_path)) as connection:
        (value,) = connection.execute(f"SELECT {column} FROM copies WHERE key = ?", (KEY,)).fetchone()
        data = bytearray(value.encode() if isinstance(value, str) else value)
        data[3] ^= 1
        changed: str | bytes = data.decode() if isinstance(value, str) else bytes(data)
        connection.execute(f"UPDATE copies SET {column} = ? WHERE key = ?", (changed, KEY))
    connection.close()
    file = reopened(tmp_path)
    assert file.load(KEY) is None
    assert file.load(OTHER) == COPY
    assert "damaged copy" in caplog.text
    file.close()
    assert count(tmp_path) == 1


def test_another_programs_file_is_set_aside_not_used(tmp_path: Path) -> None:
    (tmp_path / "state").mkdir()
    with sqlite3.connect(path_of(tmp_path)) as connection:
        connection.execute("CREATE TABLE copies (mine TEXT)")
    connection.close()
    file = reopened(tmp_path)
    file.save(KEY, COPY)
    assert file.load(KEY) == COPY
    file.close()
    with sqlite3.connect(set_aside(tmp_path)) as connection:
        assert connection.execute("SELECT mine FROM copies").fetchall() == []
    connection.close()


@pytest.mark.parametrize("statement", ["DROP TABLE copies", "DROP TABLE whole", "DELETE FROM whole"])
def test_a_file_with_parts_missing_is_begun_anew(tmp_path: Path, statement: str) -> None:
    file = reopened(tmp_path)
    file.save(KEY, COPY)
    file.close()
    with sqlite3.connect(path_of(tmp_path)) as connection:
        connection.execute(statement)
    connection.close()
    file = reopened(tmp_path)
    file.save(OTHER, COPY)
    assert file.load(OTHER) == COPY
    file.close()
    assert set_aside(tmp_path).exists()


def test_two_processes_that_find_damage_set_one_file_aside(tmp_path: Path) -> None:
    """The second sees that the file it opened is no longer the one under that name."""
    one, two = reopened(tmp_path), reopened(tmp_path)
    one.save(KEY, COPY)
    assert two.load(KEY) == COPY
    fault = sqlite3.DatabaseError("as the other process saw it")
    fault.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    one._set_aside(fault)
    one.save(OTHER, COPY)
    two._set_aside(fault)
    assert two.ready()
    assert two.load(OTHER) == COPY
    one.close()
    two.close()


def test_other_failures_are_not_taken_for_damage(file: StoreFile, tmp_path: Path) -> None:
    file.save(KEY, COPY)
    file._use().execute("PRAGMA query_only = ON")
    with pytest.raises(sqlite3.OperationalError):
        file.save(KEY, Copy(Fetched(b"x"), 0.0))
    assert not set_aside(tmp_path).exists()


def test_a_disk_that_fails_while_the_file_is_made_keeps_no_descriptor(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fchmod(2) may end in EIO, each time that the disk is tried again."""

    def fails(*_: object) -> None:
        raise OSError(errno.EIO, "made to fail")

    before = descriptors()
    monkeypatch.setattr(os, "fchmod", fails)
    made = StoreFile(tmp_path / "state", BIG)
    with pytest.raises(OSError, match="made to fail"):
        made.ready()
    made.close()
    assert descriptors() == before


def test_a_file_that_is_not_open_is_no_damage(tmp_path: Path) -> None:
    closed = StoreFile(tmp_path / "state", BIG)
    with pytest.raises(sqlite3.ProgrammingError, match="not open"):
        closed._use()
    closed.close()
    assert not (tmp_path / "state").exists()


@pytest.mark.parametrize("digest", [None, 7, "text", b"another"])
def test_a_row_of_which_a_value_is_not_what_was_written_is_none(
    file: StoreFile, tmp_path: Path, digest: object
) -> None:
    """SQLite takes a value of any type in any column (sqlite.org, Flexible Typing)."""
    copy = _read(KEY, digest, b"", "said", b"body")
    assert copy is None


def test_a_sum_that_no_copies_make_up_is_damage(file: StoreFile, tmp_path: Path) -> None:
    file.save(KEY, COPY)
    file._use().execute("UPDATE whole SET size = ?", (10 * BIG,))
    file.save(OTHER, COPY)
    assert set_aside(tmp_path).exists()
    assert file.load(OTHER) == COPY
    assert file.load(KEY) is None
