"""EPLF, from memory of its description; the first two lines are its own examples, also from memory."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Entry, Kind
from adapters.ftp.listing.eplf import read_eplf_line


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (
            b"+i8388621.48594,m825718503,r,s280,\tdjb.html",
            Entry(b"djb.html", Kind.FILE, 280, datetime(1996, 3, 1, 22, 15, 3, tzinfo=UTC)),
        ),
        (
            b"+i8388621.50690,m824255907,/,\t514",
            Entry(b"514", Kind.FOLDER, None, datetime(1996, 2, 13, 23, 58, 27, tzinfo=UTC)),
        ),
        (b"+r,\t two\twords ", Entry(b" two\twords ", Kind.FILE)),
        (b"+,\tx", Entry(b"x", Kind.FILE)),
        (b"+sx,m99999999999999999,up644,r,\tx", Entry(b"x", Kind.FILE)),
    ],
)
def test_lines(line: bytes, expected: Entry) -> None:
    assert read_eplf_line(line) == expected


@pytest.mark.parametrize("line", [b"", b"+r,", b"+r,\t", b"r,\tx"])
def test_what_is_no_line(line: bytes) -> None:
    assert read_eplf_line(line) is None


@given(st.binary())
def test_no_line_raises(line: bytes) -> None:
    read_eplf_line(line)
    read_eplf_line(b"+" + line + b"\tx")
