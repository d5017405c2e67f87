"""Gzipped files as Python's gzip makes them (RFC 1952)."""

import gzip
import random
from pathlib import Path

import pytest

from gateway.archives.warc.unpacking import Unpacked

PART = random.Random(5).randbytes(30_000)


def unpacked(path: Path, data: bytes) -> tuple[bytes, str]:
    """What it gives, and what is wrong with it: "cut", "damaged" or nothing."""
    path.write_bytes(data)
    found = b""
    with Unpacked(path) as file:
        while piece := file.read(16_384):
            found += piece
            assert file.tell() == len(found)
        return found, "cut" if file.cut else "damaged" if file.damaged else ""


@pytest.mark.parametrize(
    "data", [PART * 2, gzip.compress(PART * 2), gzip.compress(PART) * 2, gzip.compress(PART) * 2 + b"\0" * 9]
)
def test_gzipped_or_not_and_in_how_many_members(data: bytes, tmp_path: Path) -> None:
    assert unpacked(tmp_path / "x", data) == (PART * 2, "")


def test_an_empty_file(tmp_path: Path) -> None:
    assert unpacked(tmp_path / "x", b"") == (b"", "")


@pytest.mark.parametrize("left_out", [1, 8, 9_000, 29_000])
def test_cut_short_it_gives_what_is_there(left_out: int, tmp_path: Path) -> None:
    found, damage = unpacked(tmp_path / "x", (gzip.compress(PART) * 2)[:-left_out])
    assert (PART * 2).startswith(found)
    assert (
        len(found) >= 2 * len(PART) - left_out - 300
    )  # zlib holds back the end of what it has not seen whole
    assert damage == "cut"


@pytest.mark.parametrize("at", [-3, -7, -15_000])
def test_damaged_it_says_so(at: int, tmp_path: Path) -> None:
    data = bytearray(gzip.compress(PART))
    data[at] ^= 0xFF
    found, damage = unpacked(tmp_path / "x", bytes(data) + gzip.compress(PART))
    assert damage == "damaged"
    assert len(found) <= len(PART)


@pytest.mark.parametrize(
    ("data", "within"),
    [(b"x\r\nWA", True), (b"x\r\nWARC/1", True), (b"x\r\n", False), (b"x\r\nWAX", False), (b"WA", False)],
)
def test_a_file_that_ends_as_a_record_begins(data: bytes, within: bool, tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(data)
    with Unpacked(tmp_path / "x") as file:
        file.read(100)
        file.read(100)
        assert file.in_first_line == within
