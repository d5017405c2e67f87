"""Whole listings: no line spoils the others, chunking never matters, limits hold."""

from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.files import Entry, Kind
from adapters.ftp.listing.lines import Listed

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)

UNIX = (
    b"total 12\r\n"
    b"\r\n"
    b"drwxr-xr-x   2 owner group 4096 Nov 14 21:05 .\r\n"
    b"drwxr-xr-x   2 owner group 4096 Nov 14 21:05 ..\r\n"
    b"-rw-r--r--   1 owner group    7 Nov 14 21:05 one \r\n"
    b"-rw-r--r--   1 owner group    8 Nov 14 21:05 caf\xe9\n"
    b"drwxr-xr-x   2 owner group 4096 Nov 14 21:05 folder"
)
FACTS = (
    b"Type=cdir;Modify=19981107085215; /tmp\r\n"
    b"Type=pdir;Modify=19990112030508; ..\r\n"
    b"type=file;size=7; one \r\n"
    b"type=dir; folder\r\n"
)


def listed(data: bytes, *, facts: bool = False) -> tuple[list[bytes], bool]:
    reading = Listed(facts=facts, now=NOW)
    reading.feed(data)
    entries = reading.finish()
    return [each.name for each in entries], reading.partial


def test_a_listing_of_ls() -> None:
    assert listed(UNIX) == ([b"one ", b"caf\xe9", b"folder"], False)


def test_a_listing_of_facts() -> None:
    assert listed(FACTS, facts=True) == ([b"one ", b"folder"], False)


@pytest.mark.parametrize("data", [b"", b"total 0\r\n", b"\r\n\r\n", b"total 12K\n"])
def test_nothing_is_nothing(data: bytes) -> None:
    assert listed(data) == ([], False)


@pytest.mark.parametrize(
    "line", [b"what is this\r\n", b"-rw-r--r-- 1 a b 7 Nov 14 21:05 sub/folder\r\n", b"x" * 10_000 + b"\r\n"]
)
def test_a_line_that_cannot_be_read_costs_only_itself(line: bytes) -> None:
    names, partial = listed(line + UNIX)
    assert (names, partial) == ([b"one ", b"caf\xe9", b"folder"], True)
    names, partial = listed(UNIX + b"\r\n" + line)
    assert (names, partial) == ([b"one ", b"caf\xe9", b"folder"], True)


def test_styles_may_mix() -> None:
    names, partial = listed(UNIX + b"\r\n02-29-24  12:30PM  1834 notes v2.txt\r\n+s5,r,\teplf\r\n")
    assert (names, partial) == ([b"one ", b"caf\xe9", b"folder", b"notes v2.txt", b"eplf"], False)


def test_a_name_is_listed_once() -> None:
    assert listed(FACTS + FACTS, facts=True) == ([b"one ", b"folder"], False)


def test_entries_have_a_limit() -> None:
    reading = Listed(facts=True, now=NOW)
    reading.feed(b"".join(b"type=file; f%d\r\n" % number for number in range(limits.LIST_ENTRIES)))
    assert reading.full
    assert not reading.partial
    reading.feed(b"type=file; one more\r\n")
    assert len(reading.finish()) == limits.LIST_ENTRIES
    assert reading.partial


@pytest.mark.parametrize("line", [b"type=file; one name\r\n", b"\r\n", b"no facts\r\n"])
def test_lines_have_a_limit(line: bytes) -> None:
    """However few entries there are in them."""
    reading = Listed(facts=True, now=NOW)
    reading.feed(line * limits.LIST_LINES)
    assert not reading.full
    reading.feed(line)
    assert reading.full


@pytest.mark.parametrize(("data", "facts"), [(UNIX, False), (FACTS, True)])
@given(cuts=st.lists(st.integers(0, 400), max_size=12))
def test_chunking_never_matters(data: bytes, facts: bool, cuts: list[int]) -> None:
    whole = Listed(facts=facts, now=NOW)
    whole.feed(data)
    single, pieces = Listed(facts=facts, now=NOW), Listed(facts=facts, now=NOW)
    for byte in data:
        single.feed(bytes([byte]))
    places = sorted({0, len(data), *(cut for cut in cuts if cut < len(data))})
    for start, end in pairwise(places):
        pieces.feed(data[start:end])
    assert single.finish() == pieces.finish() == whole.finish()


@given(st.lists(st.binary(max_size=60), max_size=20), st.booleans())
def test_no_listing_raises_and_no_name_leads_elsewhere(lines: list[bytes], facts: bool) -> None:
    names, _ = listed(b"\r\n".join(lines), facts=facts)
    assert not any(name in {b"", b".", b".."} or b"/" in name for name in names)


def test_entries_are_whole() -> None:
    reading = Listed(facts=False, now=NOW)
    reading.feed(UNIX)
    assert reading.finish()[0] == Entry(b"one ", Kind.FILE, 7, datetime(2025, 11, 14, 21, 5, tzinfo=UTC))


@pytest.mark.parametrize("size", [1_000, 1_000_000])
def test_a_line_that_is_too_long_spoils_no_other(size: int) -> None:
    """It is not kept while it comes, and what is left of it is no line."""
    long = b"-rw-r--r--   1 owner group    7 Nov 14 21:05 " + b"x" * limits.ENTRY_BYTES * 2 + b"\r\n"
    data = UNIX.replace(b"total 12\r\n", long)
    reading = Listed(facts=False, now=NOW)
    for start in range(0, len(data), size):
        reading.feed(data[start : start + size])
    assert [each.name for each in reading.finish()] == listed(UNIX)[0]
    assert reading.partial
