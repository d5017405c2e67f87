"""A local folder to test with."""

import os
from pathlib import Path

from adapters.files import Target, quoted
from adapters.local.adapter import LocalAdapter
from tests.adapters.file_contract import DiskStand


class LocalStand(DiskStand):
    """`folder` is the place; `outside`, beside it, holds a document `secret`."""

    adapter: LocalAdapter

    def __init__(self, tmp_path: Path) -> None:
        self.folder = tmp_path / "quay-yard"
        self.folder.mkdir()
        self.outside = tmp_path / "outside"
        self.outside.mkdir()
        (self.outside / "secret").write_bytes(b"not for clients")
        url = url_of(self.folder)
        self.root = Target(url, url)
        self.adapter = LocalAdapter()
        self.private = (str(tmp_path), tmp_path.name, "quay-yard", "outside")

    @property
    def origin(self) -> str:
        return "this gateway's disk"

    def contacts(self) -> int:
        return 0


def url_of(folder: Path) -> str:
    """The folder as a place's root (RFC 8089)."""
    return "file://" + "".join(f"/{quoted(os.fsencode(each))}" for each in folder.parts[1:]) + "/"
