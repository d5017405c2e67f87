"""strftime patterns, both ways and the same everywhere: text + `in` -> Moment; datetime + `out` -> text.

Python hands writing to the C library, which differs by system and by locale. It is done here instead: in the
C locale (English names), with years in four digits, for the directives of POSIX strftime and of Python.
Reading is `datetime.strptime`, which is Python's own code, with two surprises taken out: `%Z` reads UTC, GMT,
Z and the zones of RFC 5322 section 4.3 instead of this machine's own zone names, and a day without a year may
be 29 February.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache
from typing import Final

from adapters import limits
from gateway.extract.fields.dates import CLOCK, DAY, MONTH, NAMED_ZONES, WHOLE_DATE, YEAR, Moment

_DAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def _offset(stamp: datetime) -> str:
    offset = stamp.utcoffset()
    if offset is None:
        return ""
    minutes = abs(offset) // timedelta(minutes=1)
    return f"{'-' if offset < timedelta() else '+'}{minutes // 60:02d}{minutes % 60:02d}"


def _week(stamp: datetime, first_day: int) -> int:
    """The week of the year, counted from the first `first_day` (0 is Monday); before it is week 0."""
    return (stamp.timetuple().tm_yday + 6 - (stamp.weekday() - first_day) % 7) // 7


_WRITERS: Final[Mapping[str, Callable[[datetime], str]]] = {
    "a": lambda at: _DAYS[at.weekday()][:3],
    "A": lambda at: _DAYS[at.weekday()],
    "b": lambda at: _MONTHS[at.month - 1][:3],
    "B": lambda at: _MONTHS[at.month - 1],
    "C": lambda at: f"{at.year // 100:02d}",
    "d": lambda at: f"{at.day:02d}",
    "e": lambda at: f"{at.day:2d}",
    "f": lambda at: f"{at.microsecond:06d}",
    "g": lambda at: f"{at.isocalendar().year % 100:02d}",
    "G": lambda at: f"{at.isocalendar().year:04d}",
    "H": lambda at: f"{at.hour:02d}",
    "I": lambda at: f"{(at.hour - 1) % 12 + 1:02d}",
    "j": lambda at: f"{at.timetuple().tm_yday:03d}",
    "m": lambda at: f"{at.month:02d}",
    "M": lambda at: f"{at.minute:02d}",
    "n": lambda at: " ",
    "p": lambda at: "PM" if at.hour >= 12 else "AM",
    "S": lambda at: f"{at.second:02d}",
    "t": lambda at: " ",
    "u": lambda at: f"{at.isoweekday()}",
    "U": lambda at: f"{_week(at, 6):02d}",
    "V": lambda at: f"{at.isocalendar().week:02d}",
    "w": lambda at: f"{at.isoweekday() % 7}",
    "W": lambda at: f"{_week(at, 0):02d}",
    "y": lambda at: f"{at.year % 100:02d}",
    "Y": lambda at: f"{at.year:04d}",
    "z": _offset,
    "Z": lambda at: at.tzname() or "",
    "%": lambda at: "%",
}
_COMPOUNDS: Final = {
    "c": "%a %b %e %H:%M:%S %Y",
    "D": "%m/%d/%y",
    "F": "%Y-%m-%d",
    "h": "%b",
    "r": "%I:%M:%S %p",
    "R": "%H:%M",
    "T": "%H:%M:%S",
    "x": "%m/%d/%y",
    "X": "%H:%M:%S",
}
_READ_AS: Final = {"e": "%d", "n": " ", "t": " "}  # what strptime lacks
_NEEDS: Final[Mapping[str, int]] = {
    **dict.fromkeys("CyY", YEAR),
    **dict.fromkeys("bBm", MONTH),
    **dict.fromkeys("de", DAY),
    **dict.fromkeys("aAgGjuUVwW", WHOLE_DATE),
    **dict.fromkeys("fHIMpS", CLOCK),
}
_DIRECTIVE: Final = re.compile("%(-?)(.)", re.DOTALL)

OUT_DIRECTIVES: Final = frozenset(_WRITERS) | frozenset(_COMPOUNDS)
"""The letters that may follow `%` in an `out` pattern; a `-` between drops leading noughts."""

IN_DIRECTIVES: Final = OUT_DIRECTIVES - {"C", "g"}
"""The letters that may follow `%` in an `in` pattern; noughts in front may be missing for all of them."""


@dataclass(frozen=True, slots=True)
class OutPattern:
    """A compiled `out` pattern. `needs` are the parts of a moment that it writes (see `dates`)."""

    needs: int
    _pieces: tuple[str | Callable[[datetime], str], ...]

    def write(self, stamp: datetime) -> str:
        """`stamp` as the pattern says."""
        return "".join([piece if isinstance(piece, str) else piece(stamp) for piece in self._pieces])


@lru_cache(maxsize=256)
def compile_out(pattern: str) -> OutPattern:
    """Any text compiles: what is no directive stands for itself (see `out_fault`)."""
    pattern = _DIRECTIVE.sub(lambda found: _COMPOUNDS.get(found[2], found[0]), pattern)
    pieces: list[str | Callable[[datetime], str]] = []
    needs = end = 0
    for found in _DIRECTIVE.finditer(pattern):
        pieces.append(pattern[end : found.start()])
        end = found.end()
        write = _WRITERS.get(found[2])
        if write is None:
            pieces.append(found[0])
            continue
        pieces.append(_bare(write) if found[1] else write)
        needs |= _NEEDS.get(found[2], 0)
    pieces.append(pattern[end:])
    return OutPattern(needs, tuple(piece for piece in pieces if piece != ""))


def _bare(write: Callable[[datetime], str]) -> Callable[[datetime], str]:
    return lambda stamp: write(stamp).lstrip("0 ") or "0"


def out_fault(pattern: str) -> str | None:
    """What is wrong with an `out` pattern, in a few words; None where nothing is."""
    return _unknown(pattern, OUT_DIRECTIVES)


def _unknown(pattern: str, known: frozenset[str]) -> str | None:
    rest = _DIRECTIVE.sub("", pattern)
    if "%" in rest:
        return "a % with nothing after it"
    for found in _DIRECTIVE.finditer(pattern):
        if found[2] not in known:
            return f"no directive {found[0]}"
    return None


@dataclass(frozen=True, slots=True)
class InPattern:
    """A compiled `in` pattern. `parts` are the parts of a moment that it reads (see `dates`)."""

    parts: int
    _pattern: str
    _named_zone: bool

    def read(self, text: str) -> Moment | None:
        """The moment that `text` tells in this pattern; None where it does not follow it."""
        text = text.strip()
        if len(text) > limits.DATE_CHARACTERS:
            return None
        if not self.parts & YEAR:
            text = f"2000 {text}"
        if not self._named_zone:
            stamp = _parsed(text, self._pattern)
            return None if stamp is None else Moment(stamp, self.parts)
        upper = text.upper()
        for name in [each for each in _ZONES if each in upper]:
            stamp = _parsed(text, _with_zone(self._pattern, name))
            if stamp is not None:
                return Moment(stamp.replace(tzinfo=stamp.tzinfo or _ZONES[name]), self.parts)
        return None


_ZONES: Final = {
    name: timezone(timedelta(hours=hours))
    for name, hours in {"UTC": 0, "GMT": 0, "UT": 0, **NAMED_ZONES, "Z": 0}.items()
}


def _with_zone(pattern: str, name: str) -> str:
    return _DIRECTIVE.sub(lambda found: name if found[2] == "Z" else found[0], pattern)


def _parsed(text: str, pattern: str) -> datetime | None:
    try:
        return datetime.strptime(text, pattern)
    except (ValueError, OverflowError, re.error):
        return None


@lru_cache(maxsize=256)
def compile_in(pattern: str) -> InPattern:
    """Any text compiles; one that strptime cannot use reads nothing (see `in_fault`)."""
    pattern = _DIRECTIVE.sub(lambda found: _COMPOUNDS.get(found[2], f"%{found[2]}"), pattern)
    pattern = _DIRECTIVE.sub(lambda found: _READ_AS.get(found[2], found[0]), pattern)
    letters = {found[2] for found in _DIRECTIVE.finditer(pattern)}
    year, weekday = letters & set("yY"), letters & set("aAuw")
    by_week = weekday and ({"G", "V"} <= letters or (year and letters & set("UW")))
    if by_week or (year and "j" in letters):
        parts = WHOLE_DATE
    else:
        parts = (YEAR if year else 0) | (MONTH if letters & set("bBm") else 0)
        parts |= DAY if "d" in letters else 0
    parts |= CLOCK if letters & set("fHIMS") else 0
    return InPattern(parts, pattern if parts & YEAR else f"%Y {pattern}", "Z" in letters)


def in_fault(pattern: str) -> str | None:
    """What is wrong with an `in` pattern, in a few words; None where nothing is.

    It has to read what the same pattern writes: that finds directives given twice, and those, such as `%G`,
    that mean something only beside others.
    """
    fault = _unknown(pattern, IN_DIRECTIVES)
    if fault is not None:
        return fault
    compiled = compile_in(pattern)
    if not compiled.parts:
        return "no directive of a date or a time"
    if compiled.read(compile_out(pattern).write(datetime(2004, 10, 25, 15, 40, 50, tzinfo=UTC))) is None:
        return "directives that do not go together"
    return None
