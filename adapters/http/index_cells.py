"""What stands beside a link of an index page -> size in bytes and time, where they can be trusted.

A size counts only where it is exact: digits alone, perhaps in groups of three, or of bytes. `1.2K` is
rounded, and to show it as 1229 would be an answer made up, so it is none. Times carry no zone as a rule; they
are taken as UTC, as which nginx writes them, and may be hours off where a server writes its own time.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Final

from lxml import etree

from adapters import limits

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK: Final = (
    r"(?:,?[T\s]+(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2})(?:[.,][0-9]+)?)?"
    r"(?!\s*[ap]\.?m\b)(?:\s?(?P<zone>Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})(?![0-9A-Za-z]))?)?"
)
_YEAR: Final = "(?P<year>[0-9]{4})"
_MONTH: Final = "(?P<month>[a-z]{3})"
_DAY: Final = "(?P<day>[0-9]{1,2})"
_DATES: Final = tuple(
    re.compile(r"(?<![0-9A-Za-z])" + form + _CLOCK, re.ASCII | re.IGNORECASE)
    for form in (
        rf"{_YEAR}[-/.](?P<month>[0-9]{{1,2}}|[a-z]{{3}})[-/.]{_DAY}(?![0-9])",
        rf"{_DAY}[-/ ]{_MONTH}[a-z]*[-/ ,]+{_YEAR}(?![0-9])",
        rf"{_MONTH}[a-z]*\.? {_DAY},? {_YEAR}(?![0-9])",
    )
)
_NUMBER: Final = r"(?P<number>[0-9]{1,3}(?:,[0-9]{3})+|[0-9]{1,18})"
_UNIT: Final = r"(?:b|bytes?|octets?)"
_ALONE: Final = re.compile(rf"{_NUMBER}(?:\s*{_UNIT})?", re.ASCII | re.IGNORECASE)
_AFTER_DATE: Final = re.compile(
    rf"\s+{_NUMBER}(?:\s?{_UNIT})?(?=\s|\Z)(?!\s*[kmgtp](?:i?b)?\b)", re.ASCII | re.IGNORECASE
)
_IN_TEXT: Final = re.compile(rf"(?<![0-9.,]){_NUMBER}\s*{_UNIT}\b", re.ASCII | re.IGNORECASE)
_SIZE_HEADING: Final = re.compile(r"\b(?:size|bytes|length|filesize)\b", re.IGNORECASE)
_DATE_HEADING: Final = re.compile(r"\b(?:modified|modification|date|time|changed|updated)\b", re.IGNORECASE)
_LARGER_UNIT: Final = re.compile(r"\b[kmgt]i?b\b", re.IGNORECASE)
_EXACT: Final = ("data-order", "data-sort", "data-sort-value", "data-value", "data-size", "data-bytes")
"""Where scripts that sort tables find the number behind a rounded one (common practice)."""

_WITHIN: Final = frozenset({"span", "b", "strong", "em", "i", "code", "tt", "font", "small"})
_STOPS: Final = frozenset({"a", "br", "hr", "li", "tr", "table", "ul", "ol", "pre"})


@dataclass(frozen=True, slots=True)
class Beside:
    """What is known of an entry besides its name."""

    size: int | None = None
    modified: datetime | None = None


def read_date(text: str) -> tuple[datetime | None, int]:
    """The first date in a text, and where it ends; no moment where it is none that exists."""
    for form in _DATES:
        found = form.search(text[: limits.ENTRY_BYTES])
        if found is not None:
            return _moment(found), found.end()
    return None, 0


def _moment(found: re.Match[str]) -> datetime | None:
    month = found["month"].lower()
    if not month.isdecimal() and month not in _MONTHS:
        return None
    zone = (found["zone"] or "Z").upper()
    offset = timedelta()
    if zone[0] in "+-":
        offset = timedelta(hours=int(zone[1:3]), minutes=int(zone[-2:])) * (-1 if zone[0] == "-" else 1)
    try:
        return datetime(
            int(found["year"]),
            int(month) if month.isdecimal() else _MONTHS.index(month) + 1,
            int(found["day"]),
            int(found["hour"] or 0),
            int(found["minute"] or 0),
            int(found["second"] or 0),
            tzinfo=timezone(offset),
        ).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _size(found: re.Match[str] | None) -> int | None:
    return None if found is None else int(found["number"].replace(",", ""))


class Tables:
    """The headings of each table, looked at once."""

    def __init__(self) -> None:
        self._columns: dict[etree._Element, tuple[int, int | None, int | None]] = {}

    def beside(self, link: etree._Element) -> Beside:
        """What stands in the link's row of a table, or after it in its line or list item."""
        row = _ancestor(link, "tr")
        if row is None:
            return _in_line(link)
        cells = _cells(row)
        own = next((cell for cell in cells if cell in _ancestors(link)), None)
        table = _ancestor(row, "table")
        count, size_column, date_column = (0, None, None) if table is None else self._headings(table)
        if count and count == len(cells):
            return Beside(
                None if size_column is None else _cell_size(cells[size_column]),
                None if date_column is None else _cell_date(cells[date_column]),
            )
        size, modified = None, None
        for cell in cells[cells.index(own) + 1 :] if own is not None else cells:
            modified = modified or _cell_date(cell)
            size = _cell_size(cell) if size is None else size
        return Beside(size, modified)

    def _headings(self, table: etree._Element) -> tuple[int, int | None, int | None]:
        """How many there are, and which tells sizes in bytes and which times."""
        known = self._columns.get(table)
        if known is None:
            known = self._columns[table] = _headings(table)
        return known


def _headings(table: etree._Element) -> tuple[int, int | None, int | None]:
    for row in table.iter("tr"):
        cells = _cells(row)
        if not cells or not all(cell.tag == "th" for cell in cells):
            if any(True for _ in row.iter("a")) and any(cell.tag == "td" for cell in cells):
                break  # the first entry: no heading comes any more
            continue
        texts = [_text(cell) for cell in cells]
        sizes = [place for place, text in enumerate(texts) if _SIZE_HEADING.search(text)]
        dates = [place for place, text in enumerate(texts) if _DATE_HEADING.search(text)]
        if sizes or dates:
            exact = [place for place in sizes if not _LARGER_UNIT.search(texts[place])]
            return len(cells), next(iter(exact), None), next(iter(dates), None)
    return 0, None, None


def _cells(row: etree._Element) -> list[etree._Element]:
    return [cell for cell in row if cell.tag in ("td", "th")]


def _cell_size(cell: etree._Element) -> int | None:
    for each in cell.iter(etree.Element):
        for name in _EXACT:
            value = (each.get(name) or "").strip()
            if value.isascii() and value.isdecimal() and len(value) <= 18:
                return int(value)
    return _size(_ALONE.fullmatch(_text(cell)))


def _cell_date(cell: etree._Element) -> datetime | None:
    told = next((each.get("datetime") for each in cell.iter("time") if each.get("datetime")), None)
    return read_date(told or _text(cell))[0]


def _text(element: etree._Element) -> str:
    text = " ".join(str(part) for part in element.itertext())
    return " ".join(text[: limits.ENTRY_BYTES].split())


def _ancestors(element: etree._Element) -> list[etree._Element]:
    return list(element.iterancestors())


def _ancestor(element: etree._Element, tag: str) -> etree._Element | None:
    return next(element.iterancestors(tag), None)


def _in_line(link: etree._Element) -> Beside:
    text = "".join(_following(link))
    told = next((each for each in _times(link)), "")
    moment, end = read_date(text)
    size = _size(_AFTER_DATE.match(text, end)) if end else None
    if size is None:
        size = _size(_IN_TEXT.search(text))
    return Beside(size, read_date(told)[0] if told else moment)


def _following(link: etree._Element) -> Iterator[str]:
    """The text from a link to the end of its line, list item, or the next link."""
    node = link
    while True:
        tail = node.tail or ""
        yield tail.partition("\n")[0]
        if "\n" in tail.strip(" \t\r\n") or (tail.endswith("\n") and tail.strip()):
            return
        following = node.getnext()
        if following is None:
            parent = node.getparent()
            if parent is None or parent.tag not in _WITHIN:
                return
            node = parent
            continue
        if following.tag in _STOPS or any(True for _ in following.iter("a")):
            return
        yield " "
        yield _text(following)
        node = following


def _times(link: etree._Element) -> Iterator[str]:
    """The `time` elements of the link itself or of the list item that it is in."""
    item = _ancestor(link, "li")
    for each in (link if item is None else item).iter("time"):
        if each.get("datetime"):
            yield str(each.get("datetime"))
