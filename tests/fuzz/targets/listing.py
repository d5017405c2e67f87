"""Folders as far servers tell them, by MLSD, by LIST or on an index page: any bytes, cut in any way.

Invariant: of FTP listings nothing is raised, of a page WrongDocument; whole, in pieces and byte by byte give
the same; every name is one that may stand in a folder, listed once; sizes and dates are ones that can be; an
entry written as facts, or as ls(1) writes it, reads the same; and LIST's records of them are of one width and
ASCII, short names are short and each stands once.
"""

import re
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Final
from urllib.parse import urlsplit

from adapters import limits
from adapters.errors import WrongDocument
from adapters.files import Entry, Kind
from adapters.ftp.listing.lines import Listed
from adapters.http.index_pages import index_entries
from gateway.extract.folders.listing import Order, list_records
from gateway.extract.plan import Style
from tests.fuzz.inputs import behind, case_files, literals, parted, pieces

_NOW: Final = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
_TYPES: Final = {Kind.FILE: b"file", Kind.FOLDER: b"dir", Kind.LINK: b"OS.unix=slink"}
_MARKS: Final = {Kind.FILE: b"-", Kind.FOLDER: b"d", Kind.LINK: b"l"}
_FOLDER: Final = "https://far.example/pub/"
_ASKED: Final = (_FOLDER, "https://far.example/", "https://other.example/pub/")
_SHORT: Final = re.compile(r"[A-Z0-9_-]{1,8}(?:\.[A-Z0-9_-]{1,3})?")
_ZONES: Final = ("UTC", "Pacific/Kiritimati", "America/St_Johns")


def _read(parts: Iterable[bytes], facts: bool) -> tuple[tuple[Entry, ...], bool]:
    listed = Listed(facts=facts, now=_NOW)
    for part in parts:
        listed.feed(part)
    return listed.finish(), listed.partial


def _as_facts(entry: Entry) -> bytes:
    facts = b"type=" + _TYPES[entry.kind] + b";"
    if entry.size is not None:
        facts += b"size=%d;" % entry.size
    if entry.modified is not None:
        moment = entry.modified
        facts += b"modify=%04d%02d%02d%02d%02d%02d;" % moment.timetuple()[:6]
    return facts + b" " + entry.name + b"\r\n"


def _as_ls(entry: Entry) -> bytes:
    return (
        _MARKS[entry.kind]
        + b"rw-r--r-- 1 a b %d 2024-02-29 12:30 " % (entry.size or 0)
        + entry.name
        + b"\r\n"
    )


def _check_entry(entry: Entry) -> None:
    assert entry.name not in {b"", b".", b".."}
    assert not any(each in entry.name for each in b"/\0")
    assert len(entry.name) <= limits.ENTRY_BYTES
    assert entry.size is None or (0 <= entry.size < 10**20 and entry.kind is Kind.FILE)
    assert entry.modified is None or entry.modified.tzinfo is UTC


def _check_line(entry: Entry) -> None:
    assert not any(each in entry.name for each in b"\r\n")
    again, partial = _read([_as_facts(entry)], facts=True)
    assert (again, partial) == ((entry,), False)
    if entry.kind is Kind.LINK and b" -> " in entry.name:
        return
    again, partial = _read([_as_ls(entry)], facts=False)
    assert not partial
    assert [(each.name, each.kind) for each in again] == [(entry.name, entry.kind)]
    assert entry.size is None or again[0].size == entry.size


def _on_page(page: bytes, asked: str) -> tuple[Entry, ...]:
    try:
        found = index_entries(page, _FOLDER, asked)
    except WrongDocument:
        return ()
    for each in found.entries:
        if each.url is not None:
            assert each.url.startswith("https://far.example/")
            assert all("!" <= mark <= "~" for mark in each.url)
            assert urlsplit(each.url).hostname == "far.example"
    return found.entries


def _check_records(entries: tuple[Entry, ...], columns: int, choice: int) -> None:
    mark = choice & 1 == 1
    folder = list_records(
        entries,
        Style("ascii", _ZONES[choice // 2 % 3]),
        columns,
        mark=mark,
        order=tuple(Order)[choice // 6 % 4],
        short=choice & 64 == 64,
    )
    assert sorted(folder.entries, key=repr) == sorted(entries, key=repr)
    assert len(folder.sheet.records) == len(entries)
    for record in folder.sheet.records:
        assert len(record.text) == folder.sheet.width == columns - mark
        assert record.text.isascii()
        assert record.text.isprintable()
    if choice & 64:
        assert len(folder.shorts) == len(entries)
        assert all(map(_SHORT.fullmatch, folder.shorts))


def check(data: bytes) -> None:
    """See the module's text."""
    options, listing = parted(data, 4)
    form = options[0] % 3
    if form == 2:
        entries = _on_page(listing, _ASKED[options[0] // 3 % 3])
    else:
        whole = _read([listing], form == 1)
        assert whole == _read((listing[at : at + 1] for at in range(len(listing))), form == 1)
        assert whole == _read(pieces(listing, options[1]), form == 1)
        entries, _ = whole
    assert len({each.name for each in entries}) == len(entries) <= limits.LIST_ENTRIES
    for entry in entries:
        _check_entry(entry)
        if form != 2:
            _check_line(entry)
    _check_records(entries, 16 + options[2] % 65, options[3])


def seeds() -> Iterator[bytes]:
    """The lines of the listing's tests, each as facts and as lines, the pages' tests, and the cases."""
    lines = [*literals("adapters/ftp/listing"), *case_files("ftp-*/*.txt", "ftp-*/*.json")]
    for form in range(2):
        yield from behind([bytes((form, number, number, number * 5)) for number in range(50)], lines)
    pages = [*literals("adapters/http/test_index_pages.py", "adapters/http/test_index_cells.py")]
    options = [bytes((2 + number % 3 * 3, 0, number, number * 5)) for number in range(50)]
    yield from behind(options, (each if b"<" in each else b"<a href='x'>x</a> " + each for each in pages))
