"""entries -> Folder: the records of LIST, one an entry, and the entries in the order of their numbers.

The columns are number(4) kind(1) size(9) date(10) name(rest), one blank between (CONTRACT section 3); under
40 columns the date goes, under 28 the size. It is the setting `cols` that decides, with a mark too: the mark
takes its column from the name, which at 40 columns is 12 wide without and 11 with it.

- A size over nine digits is in K of 1,024, rounded up; what nine characters cannot say even so is `*`.
- Sorted by name case-blind and then by bytes; by size, largest first; by date, newest first; what has none
  comes last, and equal ones are by name. Folders stand among the files. `sent` is the server's order.
- A name is one line of the client's characters; cut where it is longer than its column.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from math import inf
from types import MappingProxyType
from typing import Final
from zoneinfo import ZoneInfo

from adapters.files import Entry, Kind
from gateway.extract.fields.text import Lettering, cut
from gateway.extract.folders.names import decoded_name, shown_name
from gateway.extract.folders.short import short_names
from gateway.extract.plan import Record, Sheet, Style

DATE_COLUMNS: Final = 40  # from here on there is a date ...
SIZE_COLUMNS: Final = 28  # ... and from here on a size
_NUMBER: Final = 4
_SIZE: Final = 9
_DATE: Final = 10
_KILO: Final = 1_024


class Order(Enum):
    """What entries are sorted by."""

    NAME = "name"
    SIZE = "size"
    DATE = "date"
    SENT = "sent"


@dataclass(frozen=True, slots=True)
class Folder:
    """A listing laid out. Entry n (from 1) is `entries[n - 1]`; `shorts` has the place in `entries` of each
    short name, and is empty where names are long; `names` are the entries' long names in ASCII, uncut.
    """

    sheet: Sheet
    entries: tuple[Entry, ...]
    shorts: Mapping[str, int]
    names: tuple[str, ...]


def list_records(
    entries: Sequence[Entry],
    style: Style,
    columns: int,
    *,
    mark: bool = False,
    order: Order = Order.NAME,
    short: bool = False,
    partial: bool = False,
    letters: Mapping[str, str] | None = None,
) -> Folder:
    """The records of a folder's entries, before the mark. `columns` is the setting `cols`.

    `short`: names are 8.3. `partial`: the server's listing is not whole, which limits the sheet. `letters`
    are the catalogue's own spellings.
    """
    ordered = _ordered(entries, order)
    zone = ZoneInfo(style.zone)
    width = columns - mark
    sized, dated = columns >= SIZE_COLUMNS, columns >= DATE_COLUMNS
    room = width - (_NUMBER + 3) - (_SIZE + 1) * sized - (_DATE + 1) * dated
    ascii_lettering = Lettering("ascii", letters)
    names = tuple(shown_name(entry.name, ascii_lettering) for entry in ordered)
    shown: Sequence[str] = names
    shorts = short_names([entry.name for entry in ordered], ascii_lettering) if short else ()
    if short:
        shown = shorts
    elif style.charset != "ascii":
        lettering = Lettering(style.charset, letters)
        shown = [shown_name(entry.name, lettering) for entry in ordered]
    records: list[Record] = []
    cuts: Counter[str] = Counter()
    misfits: Counter[str] = Counter()
    for place, entry in enumerate(ordered):
        number = f"{place + 1:{_NUMBER}}"
        wrong: tuple[str, ...] = ()
        if len(number) > _NUMBER:
            number, wrong = "*" * _NUMBER, ("NUMBER",)
        parts = [number, entry.kind.value]
        if sized:
            size = _size(entry)
            if len(size) > _SIZE:
                size, wrong = "*" * _SIZE, (*wrong, "SIZE")
            parts.append(size)
        if dated:
            parts.append(_date(entry.modified, zone))
        name = shown[place]
        shortened = ("NAME",) if len(name) > room else ()
        parts.append(cut(name, room).ljust(room))
        records.append(Record(" ".join(parts), wrong, shortened))
        cuts.update(shortened)
        misfits.update(wrong)
    sheet = Sheet(width, tuple(records), partial, tuple(cuts.items()), tuple(misfits.items()))
    places = MappingProxyType({word: place for place, word in enumerate(shorts)})
    return Folder(sheet, ordered, places, names)


def _ordered(entries: Sequence[Entry], order: Order) -> tuple[Entry, ...]:
    if order is Order.SENT:
        return tuple(entries)
    by_name = sorted(entries, key=lambda entry: (decoded_name(entry.name).casefold(), entry.name))
    # Sorting is stable with `reverse` too, so that equal ones stay in the order of their names.
    if order is Order.SIZE:
        by_name.sort(key=lambda entry: -1 if (size := _bytes(entry)) is None else size, reverse=True)
    elif order is Order.DATE:
        by_name.sort(key=lambda entry: _seconds(entry.modified), reverse=True)
    return tuple(by_name)


def _seconds(modified: datetime | None) -> float:
    return -inf if modified is None else modified.timestamp()


def _bytes(entry: Entry) -> int | None:
    return None if entry.kind is Kind.FOLDER else entry.size


def _size(entry: Entry) -> str:
    size = _bytes(entry)
    if size is None or size < 0:
        return " " * _SIZE
    text = str(size)
    if len(text) > _SIZE:
        text = f"{-(-size // _KILO)}K"
    return text.rjust(_SIZE)


def _date(modified: datetime | None, zone: ZoneInfo) -> str:
    if modified is None:
        return " " * _DATE
    try:
        return modified.astimezone(zone).date().isoformat()
    except (OverflowError, ValueError):  # beyond the years 1 to 9999 in that zone
        return " " * _DATE
