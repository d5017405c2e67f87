"""One table of a TOML file that somebody may have edited -> its values; what is wrong goes into a list."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final, TypeVar

from adapters.recorded.exchange import Headers

Value = TypeVar("Value")
_NAMES: Final = {
    str: "a text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    datetime: "a time such as 2026-05-17T12:00:00Z",
    list: "a list",
    dict: "a table",
}
_LARGEST: Final = (1 << 63) - 1  # TOML 1.0: integers are of 64 bits


class TextFault(ValueError):
    """The text is not what it should be: `mistakes` says why, each with the key that it is about."""

    def __init__(self, mistakes: list[str]) -> None:
        super().__init__("; ".join(mistakes))
        self.mistakes = mistakes


def toml_values(text: str) -> dict[str, Any]:
    """What a TOML file's text holds; a byte order mark before it does not count. TextFault."""
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise TextFault([printable(str(error))]) from error
    except (RecursionError, ValueError) as error:
        raise TextFault(["nested too deep, or a number too long"]) from error


def printable(text: str) -> str:
    """The text on one line, with escapes for what a terminal would not show as it is."""
    return "".join(
        each if each.isprintable() else each.encode("unicode_escape", "surrogatepass").decode("ascii")
        for each in text
    )


@dataclass(slots=True)
class Table:
    """`path` stands before its keys in what is told. Every getter gives a default where it told a mistake."""

    values: Mapping[str, Any]
    path: str
    mistakes: list[str]
    used: set[str] = field(default_factory=set)

    def wrong(self, key: str, what: str) -> None:
        """Tell a mistake."""
        self.mistakes.append(printable(f"{self.path}{key}: {what}"))

    def has(self, key: str) -> bool:
        """Whether it is there, right or wrong."""
        return key in self.values

    def over(self) -> None:
        """Every key was looked at: others are mistakes."""
        for key in self.values:
            if key not in self.used:
                self.wrong(key, "there is no such key")

    def _get(self, key: str, kind: type[Value]) -> Value | None:
        self.used.add(key)
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, kind) and (kind is bool or not isinstance(value, bool)):
            return value
        self.wrong(key, f"not {_NAMES[kind]}")
        return None

    def maybe(self, key: str) -> str | None:
        """A text, where there is one."""
        return self._get(key, str)

    def text(self, key: str) -> str:
        """A text, or empty."""
        return self._get(key, str) or ""

    def needed(self, key: str) -> str:
        """A text that may not be missing."""
        if self.values.get(key, "") == "":
            self.wrong(key, "missing")
        return self.text(key)

    def flag(self, key: str) -> bool:
        """True or false, which is the default."""
        return self._get(key, bool) or False

    def number(self, key: str, least: int = 0, most: int | None = None) -> int | None:
        """A whole number of that range, where there is one."""
        value = self._get(key, int)
        if value is not None and (value < least or (most is not None and value > most)):
            self.wrong(key, f"not {least} to {most}" if most is not None else f"below {least}")
            return None
        if value is not None and value > _LARGEST:
            self.wrong(key, "too large")
            return None
        return value

    def seconds(self, key: str) -> float:
        """A number, or 0."""
        whole = isinstance(self.values.get(key), int)
        value = (self._get(key, int) if whole else self._get(key, float)) or 0
        if abs(value) <= _LARGEST:
            return float(value)
        self.wrong(key, "no number of seconds")  # TOML has nan and inf too
        return 0.0

    def time(self, key: str) -> datetime | None:
        """An aware time, where there is one."""
        value = self._get(key, datetime)
        if value is not None and value.tzinfo is None:
            self.wrong(key, "a time without its zone, such as Z")
            return value.replace(tzinfo=UTC)
        try:
            return None if value is None else value.astimezone(UTC)
        except OverflowError:
            self.wrong(key, "not in the years 1 to 9999 of UTC")
            return None

    def table(self, key: str) -> "Table | None":
        """A table in this one."""
        value = self._get(key, dict)
        return None if value is None else Table(value, f"{self.path}{key}.", self.mistakes)

    def tables(self, key: str) -> "Iterator[Table]":
        """The tables of a list."""
        for number, value in enumerate(self._get(key, list) or (), 1):
            if isinstance(value, dict):
                yield Table(value, f"{self.path}{key}[{number}].", self.mistakes)
            else:
                self.wrong(f"{key}[{number}]", "not a table")

    def headers(self) -> Headers:
        """A list of "Name: value" (RFC 9110 section 5), in Latin-1."""
        pairs = []
        for number, line in enumerate(self._get("headers", list) or (), 1):
            name, colon, value = line.partition(":") if isinstance(line, str) else ("", "", "")
            if not colon or not name or name != name.strip():
                self.wrong(f"headers[{number}]", 'not "Name: value"')
            elif any(each in "\r\n\0" or each > "\xff" for each in line):
                self.wrong(f"headers[{number}]", "a line break, NUL or a character beyond Latin-1")
            else:
                pairs.append((name, value[1:] if value.startswith(" ") else value))
        return tuple(pairs)
