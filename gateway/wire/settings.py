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
from adapters.errors import WrongWords
from gateway.wire.charsets import charset_name, find_charset, seven_bit_charset, shown_charset

END_9B: Final = 0x9B
CHECK_WIDTHS: Final[Mapping[str, int]] = MappingProxyType({"none": 0, "sum": 2, "crc": 4})
"""Setting `check` -> the hex digits after each line."""


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
    window: int = 0
    pace: int = 0
    gap: int = 0
    check: str = "none"
    flow: str = "none"
    echo: bool = False
    bytes: str = "hex"
    block: int = 128
    names: str = "long"
    order: str = "name"
    zone: str = "UTC"

    @property
    def printed(self) -> str:
        """The charset that records are laid out for: with seven bits only its lower half gets through."""
        return seven_bit_charset(self.charset) if self.bits == 7 else self.charset

    @property
    def metered(self) -> bool:
        """Whether what is sent is held back, instead of going out as quickly as the line takes it."""
        return bool(self.pace or self.gap or self.flow == "xon")

    @property
    def added(self) -> int:
        """Columns of a record beside what was laid out: its mark before, its check after."""
        return self.mark + CHECK_WIDTHS[self.check]


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
    return shown_charset(value) if isinstance(value, str) else str(value)  # no other value has an =


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


def _charset(text: str) -> str:
    """One that needs no table of a catalogue."""
    return charset_name(text, {})


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
        "Longest record the client takes, mark and check included",
        _number("most", limits.COLUMNS_MIN, 255),
    ),
    Setting(
        "eol",
        "crlf cr lf 9b none mirror",
        "What ends each line of a reply; mirror: what ended the client's",
        _one_of("eol", "crlf", "cr", "lf", "9b", "none", "mirror"),
    ),
    Setting(
        "charset",
        "ascii latin1 cp437 caseswap, a Python codec, or file:PATH",
        "Characters both ways, a byte each; file: a mapping table that a profile names",
        _charset,
    ),
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
    Setting(
        "window",
        f"0-{limits.PAGE_RECORDS}",
        "Lines to send before waiting for an empty line; 0: never wait",
        _number("window", 0, limits.PAGE_RECORDS),
    ),
    Setting(
        "pace",
        f"0-{limits.PACE}",
        "Characters a second; 0: as fast as the link",
        _number("pace", 0, limits.PACE),
    ),
    Setting("gap", f"0-{limits.GAP}", "Milliseconds after each line", _number("gap", 0, limits.GAP)),
    Setting(
        "check",
        "none sum crc",
        "Hex digits after each line: sum modulo 256, or CRC-16/XMODEM",
        _one_of("check", "none", "sum", "crc"),
    ),
    Setting(
        "flow",
        "none xon",
        "xon: 13h pauses the reply, 11h resumes it",
        _one_of("flow", "none", "xon"),
    ),
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
_DEFAULTS: Final[Mapping[str, Value]] = {each.name: each.default for each in fields(Settings)}  # type: ignore[misc]


_NO_TABLES: Final[Mapping[str, str]] = MappingProxyType({})


def change(
    settings: Settings, pairs: Iterable[tuple[str, str]], tables: Mapping[str, str] = _NO_TABLES
) -> Settings:
    """`settings` with all of `pairs` (key, word as typed) applied, or none.

    `tables` are the charsets that a catalogue has from files, by the words that name them. WrongWords: an
    unknown key or value, columns wider than the client takes, or values that do not go together.
    """
    changed: dict[str, Value] = {}
    for key, word in pairs:
        name = key.lower()
        if name not in SETTINGS:
            raise WrongWords(f"No setting {key.upper()[:12]}; SET shows all")
        changed[name] = charset_name(word, tables) if name == "charset" else SETTINGS[name].read(word)
    result = replace(settings, **changed)  # type: ignore[arg-type]
    if result.cols + CHECK_WIDTHS[result.check] > result.most:
        raise WrongWords("cols, with the check, is more than most")
    if result.bits == 7 and result.eol == "9b":
        raise WrongWords("eol 9b needs bits 8")
    _check_charset(result)
    return result


def _check_charset(settings: Settings) -> None:
    try:
        printed = settings.printed
    except LookupError as error:
        raise WrongWords("This charset needs bits 8") from error
    if settings.eol == "9b" and END_9B in find_charset(printed).sent.values():
        raise WrongWords("eol 9b: 9Bh is a letter in this charset")
