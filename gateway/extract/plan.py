"""How one source's document becomes records: the compiled part of a catalogue entry.

A Plan is made by the catalogue (or by PICK) and read by the stages: rows are selected, distinct, sorted,
limited and folded in that order, and every field of a row is laid out in its width.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum
from types import MappingProxyType
from typing import Protocol

from gateway.extract.values import Value


class Format(Enum):
    """How a document's bytes are read."""

    AUTO = "auto"
    JSON = "json"
    NDJSON = "ndjson"
    XML = "xml"
    CSV = "csv"
    HTML = "html"


class Kind(Enum):
    """How a field lays out its value."""

    TEXT = "text"
    INT = "int"
    FIXED = "fixed"
    DATE = "date"
    TIME = "time"
    FLAG = "flag"
    CODE = "code"
    HEX = "hex"


class Align(Enum):
    """Which edge of the field the value stands at."""

    LEFT = "left"
    RIGHT = "right"
    CENTER = "center"


class Cut(Enum):
    """What gives way when text is longer than its field."""

    END = "end"  # keep the beginning
    START = "start"  # keep the end
    WORD = "word"  # keep whole words from the beginning where at least one fits


class Fold(Enum):
    """How all rows become one."""

    SUM = "sum"
    MIN = "min"
    MAX = "max"
    MEAN = "mean"
    COUNT = "count"
    FIRST = "first"
    LAST = "last"


class Path(Protocol):
    """One compiled path of any language: a row (or a document's root) -> the first hit.

    `text` is the path as the author wrote it.
    """

    @property
    def text(self) -> str:
        """The path as its author wrote it."""
        ...


@dataclass(frozen=True, slots=True)
class Field:
    """One column: where its value is, and how it is laid out in `width` characters.

    `at`: alternatives, the first hit wins; empty means the row itself. `align`, `fill` and `decimals` are
    resolved by kind where they are None. `scale` and `offset`: value * scale + offset, exactly.
    """

    name: str
    width: int
    kind: Kind = Kind.TEXT
    at: tuple[Path, ...] = ()
    decimals: int = 2
    scale: Decimal | None = None
    offset: Decimal | None = None
    align: Align | None = None
    fill: str | None = None
    missing: str = ""
    null: str = "-"
    map: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    in_pattern: str | None = None  # strftime patterns: how a date or time is read ...
    out_pattern: str | None = None  # ... and how it is written
    zone: str | None = None  # an IANA name; None: the session's
    cut: Cut = Cut.END
    required: bool = False
    fold: Fold | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole source: its format, its rows and its fields.

    `blind`: names that match no member exactly match case-blind if only one does (PICK).
    `letters`: the catalogue's own spellings, before the general transliteration.
    """

    fields: tuple[Field, ...]
    format: Format = Format.AUTO
    rows: Path | None = None
    namespaces: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    distinct: bool = False
    sort: str | None = None
    descending: bool = False
    limit: int | None = None
    gap: int = 1
    letters: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    blind: bool = False

    @property
    def width(self) -> int:
        """Characters in each record: the fields and the gaps between them."""
        return sum(each.width for each in self.fields) + self.gap * (len(self.fields) - 1)


@dataclass(frozen=True, slots=True)
class Style:
    """What of a session's settings the layout depends on."""

    charset: str = "ascii"  # a Python codec's name; what it lacks is transliterated
    zone: str = "UTC"  # an IANA name


@dataclass(frozen=True, slots=True)
class Row:
    """The values of one row, one for each field of the plan, in order."""

    values: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class Record:
    """One laid-out record, exactly `Plan.width` printable characters, and what happened to it.

    `misfit`: names of fields filled with `*`; `cut`: names of fields whose text was cut.
    """

    text: str
    misfit: tuple[str, ...] = ()
    cut: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Sheet:
    """All records of one answer. `limited`: rows were left out by the plan's limit.

    `cuts` and `misfits` are pairs of a field's name and in how many records it was cut or did not fit.
    """

    width: int
    records: tuple[Record, ...]
    limited: bool = False
    cuts: tuple[tuple[str, int], ...] = ()
    misfits: tuple[tuple[str, int], ...] = ()
