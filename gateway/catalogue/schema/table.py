"""one table of the file + its rows of KEYS -> values of the right type and range, or mistakes.

A value that is missing or wrong comes out as None; a wrong one has been reported, so nobody needs to ask why.
"""

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from enum import Enum
from typing import Final, TypeVar

from adapters import limits
from gateway.catalogue.document.mistakes import TextFault, character, distance, nearest, secretive
from gateway.catalogue.document.positions import Path
from gateway.catalogue.keys.key import TABLES, Shape
from gateway.catalogue.keys.table import KEYS
from gateway.catalogue.model import Number
from gateway.catalogue.schema.report import Report, shown

_DURATION: Final = re.compile(r"([0-9]{1,9})([smhd])")
_SWITCHES: Final = {
    **dict.fromkeys(("true", "yes", "on", "1"), "true"),
    **dict.fromkeys(("false", "no", "off", "0"), "false"),
}
_SECONDS: Final = {"s": 1, "m": 60, "h": 3_600, "d": 86_400}
_LOOSE_DURATION: Final = re.compile(r"\s*([0-9]{1,9})\s*([a-zA-Z]*)\.?\s*")
_LOOSE_UNITS: Final = {
    "": (1, ""),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), (1, "s")),
    **dict.fromkeys(("m", "min", "mins", "minute", "minutes"), (1, "m")),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), (1, "h")),
    **dict.fromkeys(("d", "day", "days"), (1, "d")),
    **dict.fromkeys(("w", "wk", "week", "weeks"), (7, "d")),
}
_SECRET_HOMES: Final = {
    "source": ("auth", 'auth = { header = "NAME", secret = "env:NAME" }'),
    "place": ("secret", 'user = "NAME" and secret = "env:NAME"'),
}
"""Where a table has its secret: the key, and how it is written."""

WordEnum = TypeVar("WordEnum", bound=Enum)


class Table:
    """The keys of one table at `path`; `name` is its name in KEYS. Unknown keys are reported at once."""

    def __init__(self, report: Report, name: str, path: Path, values: Mapping[str, object]) -> None:
        self.report = report
        self.name = name
        self.path = path
        self._values = values
        self._known = KEYS[name]
        for word in values:
            if word not in self._known:
                self._unknown(word)
        for key in self._known.values():
            if key.required and self.lacks(key.name):
                report.at_key(path, f"no {key.name}", f"{key.name} = {key.allowed}")

    def __contains__(self, key: str) -> bool:
        return key in self._values

    def settled(self, *keys: str) -> bool:
        """Whether each key is either there or certainly not, so that what follows from it can be checked."""
        return all(key in self._values or self.lacks(key) for key in keys)

    def _words(self) -> str:
        return " ".join(self._known)

    def _unknown(self, word: str) -> None:
        known = self._known
        near = nearest(word, known)
        if not near or known[near].name.casefold() != word.casefold():
            synonyms = [each.name for each in known.values() if word.casefold() in each.also]
            near = synonyms[0] if synonyms else near
        homes = [TABLES[table] for table, keys in KEYS.items() if word in keys and table != self.name]
        found = "a key that is not known here"
        if homes and self.name:
            found = f"a key of {' and '.join(homes)}, not of {TABLES[self.name]}"
        allowed = self._words()
        home = _SECRET_HOMES.get(self.name)
        if home is not None and near != home[0] and (secretive(word) or word.casefold() == "key"):
            near, allowed = home
        elif home is not None and near == home[0] and near != word.casefold():
            allowed = home[1] if secretive(word) else allowed
        elif not homes and self.name and (elsewhere := self._elsewhere(word, near)):
            found, near = elsewhere, ""
        self.report.at_key((*self.path, word), found, allowed, near)

    def _elsewhere(self, word: str, near: str) -> str:
        """Words for a misspelt key of another table, where it is closer than `near`, the closest of this."""
        typed = word.casefold()
        least = min(len(typed) // 4, distance(typed, near) - 1 if near else len(typed))
        for table, keys in KEYS.items():
            for key in keys.values() if table != self.name else ():
                if distance(typed, key.name) <= least:
                    return f"{key.name} is a key of {TABLES[table]}, not of {TABLES[self.name]}"
        return ""

    def lacks(self, key: str) -> bool:
        """Whether a key is missing, and not just misspelt or lost with a line that could not be read."""
        if key in self._values or not self.report.intact(self.path):
            return False
        unknown = [each for each in self._values if each not in self._known]
        return not any(each in self._known[key].also or nearest(each, [key]) for each in unknown)

    def raw(self, key: str) -> object:
        """What the file has under `key`, unchecked; None where it has nothing."""
        return self._values.get(key)

    def at(self, key: str) -> Path:
        """The path of one of its keys."""
        return (*self.path, key)

    def wrong(self, key: str, found: str, near: str = "", allowed: str = "") -> None:
        """Report the value of `key`."""
        self.report.at_value(self.at(key), found, allowed or self._known[key].allowed, near)

    def _take(self, key: str, *shapes: Shape) -> object:
        assert self._known[key].shape in shapes
        self.report.read.add((self.name, key))
        return self._values.get(key)

    def text(self, key: str, *, empty: bool = False) -> str | None:
        """A text without control characters, not empty unless `empty`."""
        value = self._take(key, Shape.TEXT)
        if value is None:
            return None
        if not isinstance(value, str):
            hidden = secretive(key)
            near = "" if hidden or isinstance(value, dict | list) else f'"{shown(value)}"'
            self.wrong(key, "no text" if hidden else shown(value), near)
            return None
        return self.clean(self.at(key), value, self._known[key].allowed, empty=empty)

    def clean(self, path: Path, value: str, allowed: str, *, empty: bool = False) -> str | None:
        """`value` if it is one line of printable characters."""
        if not value and not empty:
            self.report.at_value(path, "an empty text", allowed)
            return None
        for index, mark in enumerate(value):
            if not mark.isprintable():
                what = f"{allowed}; one line of printable characters"
                self.report.inside(path, TextFault(character(mark), index, 1, what))
                return None
        return value

    def flag(self, key: str) -> bool | None:
        """True or false."""
        value = self._take(key, Shape.FLAG)
        if value is None or isinstance(value, bool):
            return value
        found = "no true and no false" if secretive(key) else shown(value)
        self.wrong(key, found, _SWITCHES.get(str(value).lower(), ""))
        return None

    def integer(self, key: str) -> int | None:
        """A whole number within the key's range."""
        value = self._take(key, Shape.INTEGER)
        known = self._known[key]
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            digits = str(value).strip()
            bare = isinstance(value, str) and digits.isascii() and digits.isdigit()
            self.wrong(key, shown(value), digits if bare else "")
            return None
        if not known.low <= value <= known.high:
            near = known.low if value < known.low else known.high
            self.wrong(key, shown(value), str(near))
            return None
        return value

    def decimal(self, key: str) -> Decimal | None:
        """A number, digit for digit, that can be calculated with."""
        value = self._take(key, Shape.DECIMAL)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | Number):
            self.wrong(key, shown(value))
            return None
        try:
            number = Decimal(value.text if isinstance(value, Number) else value)
        except InvalidOperation:
            number = Decimal("inf")
        if not number.is_finite() or abs(number.adjusted()) > limits.FACTOR_DIGITS:
            self.wrong(key, shown(value), allowed=f"a number of at most {limits.FACTOR_DIGITS} digits")
            return None
        return number

    def seconds(self, key: str) -> int | None:
        """A duration within the key's range, in seconds."""
        value = self._take(key, Shape.DURATION)
        known = self._known[key]
        if value is None:
            return None
        seconds = None if isinstance(value, bool) or not isinstance(value, int) else value
        if isinstance(value, str):
            seconds = duration(value)
        if seconds is None:
            self.wrong(key, shown(value), _near_duration(value))
            return None
        if not known.low <= seconds <= known.high:
            self.wrong(key, shown(value), str(known.low if seconds < known.low else known.high))
            return None
        return seconds

    def word(self, key: str) -> str | None:
        """One of the key's words, as KEYS writes it."""
        value = self._take(key, Shape.WORD)
        words = self._known[key].words
        if value is None:
            return None
        for each in words:
            if isinstance(value, str) and value.casefold() == each.casefold():
                return each
        self.report.unknown(self.at(key), value if isinstance(value, str) else shown(value), words)
        return None

    def member(self, key: str, enum: type[WordEnum]) -> WordEnum | None:
        """One of the key's words, as the member of `enum` that it names."""
        word = self.word(key)
        return None if word is None else enum(word)

    def texts(self, key: str) -> Iterator[tuple[Path, str]]:
        """The texts of a list, each with its path."""
        value = self._take(key, Shape.LIST)
        if value is None:
            return
        if not isinstance(value, list):
            near = f'["{shown(value)[1:-1]}"]' if isinstance(value, str) and value else ""
            self.wrong(key, shown(value), near, f"a list: {self._known[key].allowed}")
            return
        for index, each in enumerate(value):
            path = (*self.at(key), index)
            if not isinstance(each, str):
                self.report.at_value(path, shown(each), self._known[key].allowed)
            elif self.clean(path, each, self._known[key].allowed) is not None:
                yield path, each

    def table(self, key: str) -> Mapping[str, object] | None:
        """A table, its values unchecked."""
        value = self._take(key, Shape.TABLE)
        if value is None:
            return None
        if isinstance(value, dict):
            return value
        found = "a list of tables: [[ ]] for [ ]" if _is_tables(value) else shown(value)
        if secretive(key):
            found = "no table"
        allowed = self._known[key].allowed
        if allowed == Shape.TABLE.value:
            allowed = TABLES.get(key, allowed)
        self.report.at_value(self.at(key), found, f"a table: {allowed}")
        return None

    def text_table(self, key: str) -> Iterator[tuple[Path, str, str]]:
        """The keys and texts of a table, each with its path. Numbers, true and false count as texts."""
        allowed = self._known[key].allowed
        for name, value in (self.table(key) or {}).items():
            path = (*self.at(key), name)
            if isinstance(value, Number):
                yield path, name, value.text
            elif isinstance(value, bool | int):
                yield path, name, shown(value)
            elif not isinstance(value, str):
                self.report.at_value(path, shown(value), allowed)
            elif self.clean(path, value, allowed, empty=True) is not None:
                yield path, name, value

    def tables(self, key: str) -> Iterator[tuple[Path, Mapping[str, object]]]:
        """The members of a list of tables, each with its path."""
        value = self._take(key, Shape.TABLES)
        header = f"[[{TABLES.get(key, key).strip('[]')}]]"
        if value is None:
            return
        if not isinstance(value, list):
            self.report.at_value(self.at(key), shown(value), f"a list of tables: {header}", header)
            return
        for index, each in enumerate(value):
            path = (*self.at(key), index)
            if isinstance(each, dict):
                yield path, each
            else:
                self.report.at_value(path, shown(each), f"a table: {header}")

    def mixed(self, key: str) -> object:
        """A value that the caller checks."""
        return self._take(key, Shape.MIXED, Shape.SETTING)


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(each, dict) for each in value)


def duration(text: str) -> int | None:
    """`90s`, `15m`, `12h` or `30d` in seconds; None for anything else."""
    match = _DURATION.fullmatch(text)
    return None if match is None else int(match[1]) * _SECONDS[match[2]]


def _near_duration(value: object) -> str:
    match = _LOOSE_DURATION.fullmatch(value) if isinstance(value, str) else None
    if match is None or match[2].lower() not in _LOOSE_UNITS:
        return ""
    count, unit = _LOOSE_UNITS[match[2].lower()]
    return f"{int(match[1]) * count}{unit}"
