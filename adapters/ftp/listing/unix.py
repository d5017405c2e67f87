"""A LIST line as ls(1) writes it -> Entry, or None. Common practice; there is no standard.

    -rw-r--r--   1 owner    group        1803 Nov 14 21:05 name, with blanks as they are
    permissions, links, owner, group, size, date, one blank, name

Read from the date back: what stands before it may lack the group or the link count, or have blanks in the
owner's or group's name, but the size is always the word before the date (two words for a device). What
stands behind the date and one blank is the name to its last byte, whatever it is.
"""

import re
from collections.abc import Iterator
from datetime import datetime
from typing import Final

from adapters.files import Entry, Kind
from adapters.ftp.listing.dates import read_date

_START: Final = re.compile(rb"([-dlbcpsDC?])[-rwxsStTlLM]{9}[+.@]?(?=[ \t])|([-dl])\[[-A-Z]{8,}\](?=[ \t])")
"""Nine permissions, with the mark of an ACL or a label; or NetWare's rights in brackets (from memory)."""

_WORD: Final = re.compile(rb"[^ \t]+")
_NUMBER: Final = re.compile(rb"\d{1,20}")
_DEVICE: Final = re.compile(rb"(?:\d+,)?\d+")

_LATEST_DATE_WORD: Final = 14  # counted from 0: owners and groups with a few blanks come before it


def read_unix_line(line: bytes, now: datetime) -> Entry | None:
    """The entry of one line, without its line end. None: not such a line."""
    start = _START.match(line)
    if start is None:
        return None
    mark = start[1] or start[2]
    words = list(_WORD.finditer(line, start.end()))
    for at, modified, end in _dates(words, now):
        size = _size_before(words, at, line)
        if size is None:
            continue
        name = line[end + 1 :]  # exactly one blank: further ones are the name's
        if not name:
            return None
        return _entry(mark, name, size, modified)
    return None


def _dates(words: list[re.Match[bytes]], now: datetime) -> Iterator[tuple[int, datetime | None, int]]:
    """Where a date may stand: its first word, what it is, and where it ends in the line."""
    for at in range(1, min(len(words), _LATEST_DATE_WORD)):
        found = read_date([word[0] for word in words[at : at + 3]], now)
        if found is not None:
            taken, modified = found
            yield at, modified, words[at + taken - 1].end()


def _size_before(words: list[re.Match[bytes]], at: int, line: bytes) -> int | None:
    """The size that stands before the date; -1 for a device, whose two numbers are none."""
    word = words[at - 1][0]
    if at >= 2 and words[at - 2][0].endswith(b",") and _DEVICE.fullmatch(word):
        return -1  # `8, 0`
    if _NUMBER.fullmatch(word):
        return int(word)
    return -1 if b"," in word and _DEVICE.fullmatch(word) else None


def _entry(mark: bytes, name: bytes, size: int, modified: datetime | None) -> Entry:
    kind = {b"d": Kind.FOLDER, b"l": Kind.LINK}.get(mark, Kind.FILE)
    if kind is Kind.LINK:
        name = name.partition(b" -> ")[0] or name
    regular = mark == b"-" and size >= 0
    return Entry(name=name, kind=kind, size=size if regular else None, modified=modified)
