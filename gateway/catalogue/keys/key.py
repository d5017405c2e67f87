"""What can be said of one key of the catalogue file, and the words that several readers share."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Final

from gateway.extract.plan import Fold, Kind


def _span(seconds: int) -> str:
    """A duration as the file may write it."""
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "m")):
        if seconds and seconds % size == 0:
            return f"{seconds // size}{unit}"
    return f"{seconds}s"


def words_of(enum: type[Enum]) -> tuple[str, ...]:
    """The words that an enumeration of words has."""
    return tuple(str(each.value) for each in enum)


class Shape(Enum):
    """The TOML type that a key takes, in words."""

    TEXT = "text"
    FLAG = "true or false"
    INTEGER = "whole number"
    DECIMAL = "number"
    DURATION = "duration"
    WORD = "word"
    LIST = "list of texts"
    TABLE = "table"
    TABLES = "list of tables"
    MIXED = "see allowed"  # checked by the reader that knows the key
    SETTING = "setting"


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one table. `low` and `high`: the range of a number, or of a duration in seconds.

    `kinds`: the field kinds it goes with, None for all. `also`: words that people try for it.
    """

    table: str
    name: str
    shape: Shape
    meaning: str
    default: str = ""
    words: tuple[str, ...] = ()
    low: int = 0
    high: int = 0
    note: str = ""  # what is allowed, where shape, words and range do not say it
    required: bool = False
    kinds: frozenset[Kind] | None = None
    also: tuple[str, ...] = ()

    @property
    def allowed(self) -> str:
        """What the key takes, in words."""
        if self.note:
            return self.note
        if self.words:
            return " ".join(self.words)
        if self.shape is Shape.DURATION:
            return f"{_span(self.low)} to {_span(self.high)}: seconds, or text as 90s 10m 2h 1d"
        if self.high:
            return f"{self.low} to {self.high}"
        return str(self.shape.value)


SCHEMES: Final = ("http", "https", "dav", "davs", "ftp", "ftps", "file", "tcp", "tls", "telnet", "udp")
"""The schemes of places and sources; which of them can be spoken is the adapters' matter."""

SECRET_HOME: Final = '"env:NAME", "file:PATH" or "credential:NAME", never the secret itself'  # noqa: S105 (words)
"""Where the file says that a secret is."""

METHODS: Final = ("GET", "POST", "PUT", "PATCH", "DELETE")
DATES: Final = frozenset({Kind.DATE, Kind.TIME})

FOLD_KINDS: Final[Mapping[Fold, frozenset[Kind]]] = MappingProxyType(
    {
        each: frozenset(Kind) - DATES if each in {Fold.SUM, Fold.MEAN, Fold.COUNT} else frozenset(Kind)
        for each in Fold
    }
)
"""The field kinds that each fold can be laid out in: no sum, mean or count is a date."""

WIDTHS: Final[Mapping[Kind, int]] = MappingProxyType({Kind.DATE: 10, Kind.TIME: 5, Kind.FLAG: 1})
"""The widths that need not be told."""

TABLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "": "the file",
        "gateway": "[gateway]",
        "listen": "[[listen]]",
        "place": "[place.NAME]",
        "phone": "[phone.NUMBER]",
        "hear": "[hear.PORT]",
        "rights": "[rights.NAME]",
        "source": "[source.NAME]",
        "auth": "auth = { ... } of a source",
        "field": "[[source.NAME.field]]",
        "profile": "[profile.NAME]",
    }
)
"""The tables of the file, as their headers are written."""
