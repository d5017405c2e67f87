"""words -> Settings: what a client's machine can take (CONTRACT section 5).

One table, SETTINGS, drives SET, profiles in the catalogue, `check --explain` and the README.
"""

import zoneinfo
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from types import MappingProxyType
from typing import Final

from adapters import limits
from adapters.errors import NotPossible, WrongWords


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one connection; the defaults are the profile `plain`."""

    cols: int = 40
    most: int = 255
    eol: str = "crlf"
    charset: str = "ascii"
    bits: int = 8
    telnet: str = "auto"
    case: str = "mixed"
    typed: str = "asis"
    guard: bool = False
    mark: bool = False
    page: int = 0
    echo: bool = False
    bytes: str = "hex"
    block: int = 128
    names: str = "long"
    order: str = "name"
    zone: str = "UTC"

    @property
    def printed(self) -> str:
        """The charset that records are laid out for: with seven bits nothing beyond ASCII gets through."""
        return "ascii" if self.bits == 7 else self.charset


Value = int | str | bool


@dataclass(frozen=True, slots=True)
class Setting:
    """One key: its values in words, its meaning, and how a word becomes a value."""

    name: str
    values: str
    meaning: str
    read: Callable[[str], Value]

    @property
    def default(self) -> str:
        """The default as a client would type it."""
        return shown(_DEFAULTS[self.name])


def shown(value: Value) -> str:
    """A value as a client would type it."""
    if isinstance(value, bool):
        return "on" if value else "off"
    return str(value)


def _one_of(name: str, *words: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text.lower() in words:
            return text.lower()
        raise WrongWords(f"{name} is {' '.join(words)}")

    return read


def _switch(name: str) -> Callable[[str], bool]:
    def read(text: str) -> bool:
        if text.lower() in {"on", "off"}:
            return text.lower() == "on"
        raise WrongWords(f"{name} is off or on")

    return read


def _number(name: str, low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if text.isascii() and text.isdigit() and len(text) <= 6 and low <= int(text) <= high:
            return int(text)
        raise WrongWords(f"{low}-{high} for {name}")

    return read


_LATER_CHARSETS = "This charset comes in a later version"


def _charset(text: str) -> str:
    word = text.lower()
    if word in {"ascii", "latin1", "cp437"}:
        return word
    if word == "caseswap":
        raise NotPossible(_LATER_CHARSETS)
    raise WrongWords("charset is ascii latin1 cp437")


def _bits(text: str) -> int:
    if text in {"7", "8"}:
        return int(text)
    raise WrongWords("bits is 8 or 7")


@cache
def _zones() -> Mapping[str, str]:
    return {name.lower(): name for name in zoneinfo.available_timezones()}


def zone_name(text: str) -> str:
    """The IANA name that `text` is, whatever its case; WrongWords where there is none."""
    name = _zones().get(text.lower())
    if name is None:
        raise WrongWords("No such time zone")
    return name


_TABLE = (
    Setting(
        "cols",
        "16-255",
        "Width of text, listings and error records",
        _number("cols", limits.COLUMNS_MIN, 255),
    ),
    Setting(
        "most",
        "16-255",
        "Longest record the client takes, mark included",
        _number("most", limits.COLUMNS_MIN, 255),
    ),
    Setting(
        "eol",
        "crlf cr lf 9b none mirror",
        "What ends each line of a reply; mirror: what ended the client's",
        _one_of("eol", "crlf", "cr", "lf", "9b", "none", "mirror"),
    ),
    Setting("charset", "ascii latin1 cp437", "Characters both ways; ascii is ISO 646", _charset),
    Setting("bits", "8 7", "7: bit 7 is stripped both ways, before anything else", _bits),
    Setting(
        "telnet",
        "auto on off",
        "Whether telnet negotiation is seen and refused",
        _one_of("telnet", "auto", "on", "off"),
    ),
    Setting("case", "mixed upper", "upper: replies in capitals", _one_of("case", "mixed", "upper")),
    Setting(
        "typed",
        "asis lower",
        "lower: refs, paths and args as typed are lowered",
        _one_of("typed", "asis", "lower"),
    ),
    Setting("guard", "off on", "on: , : and \" become ; . and ' in records", _switch("guard")),
    Setting("mark", "off on", "on: every record begins with !, inside its width", _switch("mark")),
    Setting("page", "0-99999", "Records a page; 0: all", _number("page", 0, limits.PAGE_RECORDS)),
    Setting("echo", "off on", "on: what the client types is sent back", _switch("echo")),
    Setting(
        "bytes",
        "hex raw ihex line",
        "What READ gives: hex pairs, bare bytes, Intel HEX, or lines",
        _one_of("bytes", "hex", "raw", "ihex", "line"),
    ),
    Setting("block", "1-65535", "Bytes in a block of READ", _number("block", 1, 65_535)),
    Setting(
        "names",
        "long 8.3",
        "8.3: short names in listings, which work as refs",
        _one_of("names", "long", "8.3"),
    ),
    Setting(
        "order",
        "name size date sent",
        "How LIST sorts; sent: as the far server has it",
        _one_of("order", "name", "size", "date", "sent"),
    ),
    Setting("zone", "an IANA name", "Time zone of dates and times", zone_name),
)

SETTINGS: Final[Mapping[str, Setting]] = MappingProxyType({each.name: each for each in _TABLE})
LATER: Final = frozenset({"window", "pace", "gap", "check", "flow"})
_DEFAULTS: Final[Mapping[str, Value]] = {each.name: each.default for each in fields(Settings)}  # type: ignore[misc]


def change(settings: Settings, pairs: Iterable[tuple[str, str]]) -> Settings:
    """`settings` with all of `pairs` (key, word as typed) applied, or none.

    WrongWords: an unknown key or value, or columns wider than the client takes. NotPossible: a key or
    value that this version does not have yet.
    """
    changed: dict[str, Value] = {}
    for key, word in pairs:
        name = key.lower()
        if name in LATER:
            raise NotPossible(f"{name} comes in a later version")
        if name not in SETTINGS:
            raise WrongWords(f"No setting {key.upper()[:12]}; SET shows all")
        changed[name] = SETTINGS[name].read(word)
    result = replace(settings, **changed)  # type: ignore[arg-type]
    if result.cols > result.most:
        raise WrongWords("cols may not be more than most")
    if result.bits == 7 and result.eol == "9b":
        raise WrongWords("eol 9b needs bits 8")
    return result
