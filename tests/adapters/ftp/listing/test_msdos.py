"""Lines of DIR: the case under tests/cases/ftp-list-msdos, and the kind behind it (common practice)."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Entry, Kind
from adapters.ftp.listing.msdos import read_msdos_line

CASE = Path(__file__).parents[3] / "cases" / "ftp-list-msdos"
LETTERS = {Kind.FILE: "f", Kind.FOLDER: "d", Kind.LINK: "d"}  # the case leaves it open what a junction is


def test_the_case() -> None:
    found = []
    for line in (CASE / "list.txt").read_bytes().split(b"\r\n"):
        entry = read_msdos_line(line)
        if line:
            assert entry is not None
            assert entry.modified is not None
            when = entry.modified.strftime("%Y-%m-%d %H:%M")
            found.append([LETTERS[entry.kind], entry.name.decode(), entry.size, when])
    assert found == json.loads((CASE / "expected.json").read_text())["entries"]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # two-digit years pivot as strptime(3) does it for %y: 69-99 are 19xx
        (b"01-01-69  01:00AM  1 x", Entry(b"x", Kind.FILE, 1, datetime(1969, 1, 1, 1, 0, tzinfo=UTC))),
        (b"01-01-68  01:00AM  1 x", Entry(b"x", Kind.FILE, 1, datetime(2068, 1, 1, 1, 0, tzinfo=UTC))),
        # a 24-hour clock, other separators, thousands
        (
            b"01/02/2024  15:04   1,048,576 x",
            Entry(b"x", Kind.FILE, 1_048_576, datetime(2024, 1, 2, 15, 4, tzinfo=UTC)),
        ),
        (
            b"01-02-24  12:00AM  1  lead and trail ",
            Entry(b" lead and trail ", Kind.FILE, 1, datetime(2024, 1, 2, tzinfo=UTC)),
        ),
        (
            b"01-02-24  01:00p  <DIR>  d",
            Entry(b"d", Kind.FOLDER, None, datetime(2024, 1, 2, 13, 0, tzinfo=UTC)),
        ),
        (
            b"01-02-24  01:00PM  <SYMLINK>  l [C:\\x]",
            Entry(b"l", Kind.LINK, None, datetime(2024, 1, 2, 13, 0, tzinfo=UTC)),
        ),
        # an impossible date or hour leaves the rest
        (b"13-45-24  01:00PM  5 x", Entry(b"x", Kind.FILE, 5)),
        (b"01-02-24  13:00PM  5 x", Entry(b"x", Kind.FILE, 5)),
        (
            b"01-02-24  01:00PM  5 [brackets]",
            Entry(b"[brackets]", Kind.FILE, 5, datetime(2024, 1, 2, 13, 0, tzinfo=UTC)),
        ),
    ],
)
def test_lines(line: bytes, expected: Entry) -> None:
    assert read_msdos_line(line) == expected


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"x",
        b"01-02-24  01:00PM",
        b"01-02-24  01:00PM  5",
        b"01-02-24  01:00PM  5 ",
        b"01-02-24  01:00PM  <X>  y",
    ],
)
def test_what_is_no_line(line: bytes) -> None:
    assert read_msdos_line(line) is None


@given(st.binary(min_size=1).filter(lambda name: b"\n" not in name))
def test_any_name_comes_through(name: bytes) -> None:
    found = read_msdos_line(b"02-29-24  12:30PM                 1834 " + name)
    assert found == Entry(name, Kind.FILE, 1834, datetime(2024, 2, 29, 12, 30, tzinfo=UTC))


@given(st.binary())
def test_no_line_raises(line: bytes) -> None:
    read_msdos_line(line)
    read_msdos_line(b"02-29-24  12:30PM  " + line)
