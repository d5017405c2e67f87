"""Renaming replaces nothing, with renameat2(2) and without."""

import errno
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters.local import moving
from adapters.local.confined import Spot
from adapters.local.moving import move


@pytest.fixture(params=["renameat2", "in steps", "no such call"])
def folder(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    if request.param == "in steps":

        def refused(*_: object) -> None:
            raise OSError(errno.EINVAL, "not on this disk")

        monkeypatch.setattr(moving, "_renameat2", refused)
    elif request.param == "no such call":
        monkeypatch.setattr(moving, "_LIBRARY", object())
    descriptor = os.open(tmp_path, os.O_PATH)
    yield descriptor
    os.close(descriptor)


def test_documents_folders_and_links_move(folder: int, tmp_path: Path) -> None:
    (tmp_path / "document").write_bytes(b"1")
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "inner").write_bytes(b"2")
    (tmp_path / "link").symlink_to("nowhere")
    for name in (b"document", b"folder", b"link"):
        move(Spot(folder, name), Spot(folder, b"new " + name))
    assert sorted(each.name for each in tmp_path.iterdir()) == ["new document", "new folder", "new link"]
    assert (tmp_path / "new folder" / "inner").read_bytes() == b"2"
    assert (tmp_path / "new link").readlink() == Path("nowhere")


@pytest.mark.parametrize("old", ["document", "folder", "link"])
@pytest.mark.parametrize("new", ["other", "empty", "dangling"])
def test_nothing_is_replaced(folder: int, tmp_path: Path, old: str, new: str) -> None:
    """rename(2) alone would replace a document, an empty folder, a link."""
    (tmp_path / "document").write_bytes(b"1")
    (tmp_path / "other").write_bytes(b"2")
    for name in ("folder", "empty"):
        (tmp_path / name).mkdir()
    for name in ("link", "dangling"):
        (tmp_path / name).symlink_to("nowhere")
    before = sorted(each.name for each in tmp_path.iterdir())
    with pytest.raises(FileExistsError):
        move(Spot(folder, old.encode()), Spot(folder, new.encode()))
    assert sorted(each.name for each in tmp_path.iterdir()) == before
    assert (tmp_path / "other").read_bytes() == b"2"


def test_nothing_there_to_move(folder: int) -> None:
    with pytest.raises(FileNotFoundError):
        move(Spot(folder, b"missing"), Spot(folder, b"new"))
