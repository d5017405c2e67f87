"""Stat results -> what is told of a document, and whether it is still the same one."""

import errno
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from adapters.files import Kind, Stat, Was
from adapters.local.confined import spot
from adapters.local.documents import Document, is_met, list_folder, look, stat_of
from adapters.port import Validators
from tests.disks import descriptors


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "tides.csv"
    made.write_bytes(b"12345")
    os.utime(made, ns=(0, 1_600_000_000_123_456_789))
    return made


def test_what_is_told(path: Path) -> None:
    stat = stat_of(path.stat(), b"tides.csv")
    assert (stat.kind, stat.size, stat.media_type) == (Kind.FILE, 5, "text/csv")
    assert stat.modified == datetime(2020, 9, 13, 12, 26, 40, tzinfo=UTC)
    folder = stat_of(path.parent.stat(), b"folder")
    assert (folder.kind, folder.size, folder.media_type) == (Kind.FOLDER, None, "")


def test_a_time_beyond_all_calendars_is_none(path: Path) -> None:
    class Odd:
        st_mode, st_size, st_ino, st_mtime_ns = path.stat().st_mode, 5, 1, 10**30

    assert stat_of(Odd(), b"x").modified is None  # type: ignore[arg-type]


def test_any_change_is_another_document(path: Path) -> None:
    seen = stat_of(path.stat(), b"tides.csv")
    assert is_met(seen, path.stat())
    os.utime(path, ns=(0, 1_600_000_000_123_456_790))  # one nanosecond
    assert not is_met(seen, path.stat())
    os.utime(path, ns=(0, 1_600_000_000_123_456_789))
    assert is_met(seen, path.stat())
    other = path.with_name("other")
    other.write_bytes(b"54321")  # same size, and set to the same time
    os.utime(other, ns=(0, 1_600_000_000_123_456_789))
    other.replace(path)
    assert not is_met(seen, path.stat())


def test_conditions(path: Path) -> None:
    seen = stat_of(path.stat(), b"tides.csv")
    assert is_met(Was.ANYTHING, None)
    assert is_met(Was.ANYTHING, path.stat())
    assert is_met(Was.NOTHING, None)
    assert not is_met(Was.NOTHING, path.stat())
    assert not is_met(seen, None)
    assert not is_met(seen, path.parent.stat())


def test_without_an_entity_tag_size_and_time_have_to_do(path: Path) -> None:
    seen = replace(stat_of(path.stat(), b"x"), validators=Validators())
    assert is_met(seen, path.stat())
    assert not is_met(replace(seen, size=6), path.stat())
    assert not is_met(Stat(Kind.FILE, 5, datetime(2020, 1, 1, tzinfo=UTC)), path.stat())


def test_an_entry_that_goes_while_it_is_listed_is_left_out(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.stat

    def gone(*args: object, **more: object) -> os.stat_result:
        if args[0] == "tides.csv":
            path.unlink(missing_ok=True)
        return real(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "stat", gone)
    with spot(bytes(path.parent), []) as found:
        listing = list_folder(found)
    assert (listing.entries, listing.partial) == ((), False)


def test_an_entry_that_cannot_be_looked_at_is_left_out_with_a_word(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder with the right to read but not to search it (path_resolution(7))."""
    (path.parent / "other").write_bytes(b"")
    real = os.stat

    def refused(*args: object, **more: object) -> os.stat_result:
        if args[0] == "tides.csv":
            raise PermissionError(13, "no right to search")
        return real(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "stat", refused)
    with spot(bytes(path.parent), []) as found:
        listing = list_folder(found)
    assert ([each.name for each in listing.entries], listing.partial) == ([b"other"], True)


def test_look(path: Path) -> None:
    with spot(bytes(path.parent), [b"tides.csv"]) as found:
        assert look(found, b"another") == stat_of(path.stat(), b"tides.csv")
    with pytest.raises(FileNotFoundError), spot(bytes(path.parent), [b"missing"]) as found:
        look(found, b"missing")


def test_a_closed_document_is_not_read(path: Path) -> None:
    """The descriptor's number may be somebody else's by then."""
    with spot(bytes(path.parent), [b"tides.csv"]) as found:
        document = Document(found)
    assert document.read(1, 3) == b"234"
    document.close()
    document.close()
    with pytest.raises(OSError, match="Bad file descriptor"):
        document.read(0, 1)


def test_a_disk_that_fails_while_a_document_is_opened_keeps_no_descriptor(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fstat(2) may end in EIO; confined's own look at it comes before."""
    real, calls = os.fstat, list[int]()

    def fails(descriptor: int) -> os.stat_result:
        calls.append(descriptor)
        if len(calls) == 2:
            raise OSError(errno.EIO, "made to fail")
        return real(descriptor)

    with spot(bytes(path.parent), (path.name.encode(),)) as found:
        before = descriptors()
        monkeypatch.setattr(os, "fstat", fails)
        with pytest.raises(OSError, match="made to fail"):
            Document(found)
        assert descriptors() == before
