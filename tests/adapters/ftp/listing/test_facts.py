"""Facts against RFC 3659: section 7.2 (the form), 7.5 (each fact), 2.3 (times).

The first two lines are examples of its section 7.7, from memory.
"""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Entry, Kind
from adapters.ftp.listing.facts import entry_of, is_itself, read_facts, read_time


def entry(line: bytes) -> Entry:
    found = read_facts(line)
    assert found is not None
    return entry_of(*found)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (
            b"Type=file;Size=25730;Modify=19940728095854;Perm=; cap60.pl198.tar.gz",
            Entry(b"cap60.pl198.tar.gz", Kind.FILE, 25_730, datetime(1994, 7, 28, 9, 58, 54, tzinfo=UTC)),
        ),
        (
            b"Type=dir;Modify=19981107085215;Perm=el; tmp",
            Entry(b"tmp", Kind.FOLDER, None, datetime(1998, 11, 7, 8, 52, 15, tzinfo=UTC)),
        ),
        # 7.2: fact names are case-blind, and so are the values of `type` (7.5.1)
        (
            b"tYPE=DIR;mOdIfY=19990112030508; iso",
            Entry(b"iso", Kind.FOLDER, None, datetime(1999, 1, 12, 3, 5, 8, tzinfo=UTC)),
        ),
        # 7.2: one blank ends the facts; blanks and semicolons beyond are the name's
        (b"type=file;size=0;  two  words; ", Entry(b" two  words; ", Kind.FILE, 0)),
        # 7.2: a server may send no facts at all
        (b" bare", Entry(b"bare", Kind.FILE)),
        # without `type`, as some servers do (common practice)
        (
            b"size=12;modify=20240229000500; notes",
            Entry(b"notes", Kind.FILE, 12, datetime(2024, 2, 29, 0, 5, tzinfo=UTC)),
        ),
        # 7.5.1.5: OS-specific types; links are common practice
        (b"type=OS.unix=slink:/usr/bin;size=8; bin", Entry(b"bin", Kind.LINK)),
        (b"type=OS.unix=symlink; bin", Entry(b"bin", Kind.LINK)),
        (b"type=OS.unix=chr-13/29;unique=keVO1; null", Entry(b"null", Kind.FILE)),
        # a size and a time that are none are left blank
        (b"type=file;size=x;modify=yesterday; f", Entry(b"f", Kind.FILE)),
        (b"type=file;size=18446744073709551615; big", Entry(b"big", Kind.FILE, 2**64 - 1)),
        (b"type=file; caf\xe9\xff", Entry(b"caf\xe9\xff", Kind.FILE)),
        (b"type=file;size=1 unended", Entry(b"unended", Kind.FILE, 1)),
    ],
)
def test_lines(line: bytes, expected: Entry) -> None:
    assert entry(line) == expected


@pytest.mark.parametrize(
    "line", [b"", b"nonsense", b"type=file;", b"type=file; ", b"-rw-r--r-- 1 a b 3 Jan 1 2020 x"]
)
def test_what_is_no_line_of_facts(line: bytes) -> None:
    assert read_facts(line) is None


@pytest.mark.parametrize(
    ("kind", "itself"), [(b"cdir", True), (b"PDIR", True), (b"dir", False), (b"file", False)]
)
def test_the_folder_and_the_one_above_it(kind: bytes, itself: bool) -> None:
    found = read_facts(b"type=" + kind + b"; x")
    assert found is not None
    assert is_itself(found[0]) is itself


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (b"19990929003355.237", datetime(1999, 9, 29, 0, 33, 55, tzinfo=UTC)),  # 2.3's own example
        (b"19981231235960", datetime(1998, 12, 31, 23, 59, 59, tzinfo=UTC)),  # a leap second is allowed
        (b"20230229000000", None),  # no such day
        (b"00000000000000", None),
        (b"2023022900", None),
        (b"", None),
    ],
)
def test_times(value: bytes, expected: datetime | None) -> None:
    assert read_time(value) == expected


@given(st.binary(min_size=1).filter(lambda name: b"\n" not in name))
def test_any_name_comes_through(name: bytes) -> None:
    assert entry(b"type=file;size=5;modify=20240229000500; " + name).name == name


@given(st.binary())
def test_no_line_raises(line: bytes) -> None:
    found = read_facts(line)
    assert found is None or entry_of(*found).name == found[1]
