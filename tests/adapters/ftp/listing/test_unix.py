"""Lines of ls(1), usual and awkward ones. There is no standard: each is common practice of some server."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Entry, Kind
from adapters.ftp.listing.unix import read_unix_line

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
NOV = datetime(2025, 11, 14, 21, 5, tzinfo=UTC)

LINES = [
    (
        b"-rw-r--r--   1 owner    group        1803 Nov 14 21:05 plain.txt",
        Entry(b"plain.txt", Kind.FILE, 1803, NOV),
    ),
    (
        b"drwxr-xr-x   2 owner    group        4096 Nov 14 21:05 folder",
        Entry(b"folder", Kind.FOLDER, None, NOV),
    ),
    (
        b"lrwxrwxrwx   1 owner    group           7 Nov 14 21:05 bin -> usr/bin",
        Entry(b"bin", Kind.LINK, None, NOV),
    ),
    # ` -> ` is a link's only
    (b"-rw-r--r--   1 owner    group           7 Nov 14 21:05 a -> b", Entry(b"a -> b", Kind.FILE, 7, NOV)),
    (
        b"lrwxrwxrwx   1 owner    group           7 Nov 14 21:05 nowhere",
        Entry(b"nowhere", Kind.LINK, None, NOV),
    ),
    # blanks of a name, at both ends too
    (
        b"-rw-r--r--   1 owner    group           7 Nov 14 21:05  two  words ",
        Entry(b" two  words ", Kind.FILE, 7, NOV),
    ),
    (b"-rw-r--r--   1 owner    group           7 Nov 14 21:05  ", Entry(b" ", Kind.FILE, 7, NOV)),
    (
        b"-rw-r--r--   1 owner    group           7 Nov 14  2001 x",
        Entry(b"x", Kind.FILE, 7, datetime(2001, 11, 14, tzinfo=UTC)),
    ),
    (b"-rw-r--r--   1 owner    group           7 14 Nov 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--   1 owner    group           7 2025-11-14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r-- 1 owner group 7 2025-11-14 21:05:00.000000000 +0000 x", Entry(b"x", Kind.FILE, 7, NOV)),
    # marks of ACLs and labels
    (b"-rw-r--r--+  1 owner    group           7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--.  1 owner    group           7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--@  1 owner    group           7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"drwxrwsr-t   1 owner    group           7 Nov 14 21:05 x", Entry(b"x", Kind.FOLDER, None, NOV)),
    # devices have two numbers instead of a size
    (b"brw-rw----   1 root     disk       8,   0 Nov 14 21:05 sda", Entry(b"sda", Kind.FILE, None, NOV)),
    (b"crw-rw-rw-   1 root     root       1,3 Nov 14 21:05 null", Entry(b"null", Kind.FILE, None, NOV)),
    (b"prw-rw-rw-   1 root     root       0 Nov 14 21:05 pipe", Entry(b"pipe", Kind.FILE, None, NOV)),
    # users and groups: with blanks, numeric, one of them missing, both missing
    (b"-rw-r--r--   1 Domain Users Plain Folk 7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--   1 1000 1000 7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--   1 owner 7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--   1 7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r-- owner group 7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    (b"-rw-r--r--   1 may june 7 Nov 14 21:05 x", Entry(b"x", Kind.FILE, 7, NOV)),
    # names that look like more of the line
    (
        b"-rw-r--r--   1 owner    group           7 Nov 14 21:05 Nov 14 21:05 x",
        Entry(b"Nov 14 21:05 x", Kind.FILE, 7, NOV),
    ),
    (b"-rw-r--r--   1 owner    group          14 Nov 14 21:05 2020", Entry(b"2020", Kind.FILE, 14, NOV)),
    (b"-rw-r--r--   1 owner    group           7 Nov 14 21:05 -rf", Entry(b"-rf", Kind.FILE, 7, NOV)),
    (
        b"-rw-r--r--   1 owner    group           7 Nov 14 21:05 caf\xe9 \xff\x80",
        Entry(b"caf\xe9 \xff\x80", Kind.FILE, 7, NOV),
    ),
    # ls(1) writes a zone behind seconds only (--time-style full-iso and long-iso)
    (
        b"-rw-r--r--   1 owner    group           7 2025-11-14 21:05 +0100 notes",
        Entry(b"+0100 notes", Kind.FILE, 7, NOV),
    ),
    (
        b"-rw-r--r--   1 owner    group           7 2025-11-14 22:05:00.000 +0100 notes",
        Entry(b"notes", Kind.FILE, 7, NOV),
    ),
    # sizes beyond 32 and 64 bits are numbers still; a date that is none leaves the rest
    (
        b"-rw-r--r--   1 owner    group 5368709121 Nov 14 21:05 iso",
        Entry(b"iso", Kind.FILE, 5_368_709_121, NOV),
    ),
    (
        b"-rw-r--r--   1 owner    group 99999999999999999999 Nov 14 21:05 x",
        Entry(b"x", Kind.FILE, 10**20 - 1, NOV),
    ),
    (b"-rw-r--r--   1 owner    group           7 Feb 30 21:05 x", Entry(b"x", Kind.FILE, 7, None)),
    # NetWare's rights (from memory)
    (b"d [RWCEAFMS] supervisor 512 Nov 14 21:05 login", None),
    (b"d[RWCEAFMS] 1 supervisor 512 Nov 14 21:05 login", Entry(b"login", Kind.FOLDER, None, NOV)),
]


@pytest.mark.parametrize(("line", "expected"), LINES)
def test_lines(line: bytes, expected: Entry | None) -> None:
    assert read_unix_line(line, NOW) == expected


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"total 12",
        b"ls: cannot open directory",
        b"-rw-r--r--",
        b"-rw-r--r--   1 owner    group           7 Nov 14 21:05",
        b"-rw-r--r--   1 owner    group           7 Nov 14 21:05 ",
        b"-rw-r--r--   1 owner    group           x Nov 14 21:05 x",
        b"02-29-24  12:30PM                 1834 notes v2.txt",
    ],
)
def test_what_is_no_line(line: bytes) -> None:
    assert read_unix_line(line, NOW) is None


NAMES = st.binary(min_size=1).filter(lambda name: b"\n" not in name)


@given(NAMES)
def test_any_name_comes_through(name: bytes) -> None:
    found = read_unix_line(b"-rw-r--r--   1 owner    group        1803 Nov 14 21:05 " + name, NOW)
    assert found == Entry(name, Kind.FILE, 1803, NOV)


@given(st.binary(), st.binary())
def test_no_line_raises(start: bytes, rest: bytes) -> None:
    for line in (start, b"-rw-r--r--" + start, b"drwxr-xr-x 1 a b " + start + b" Nov 14 " + rest):
        found = read_unix_line(line, NOW)
        assert found is None or line.endswith(found.name)
