"""Field + Style -> Cell; Cell + Value -> exactly `width` printable characters, and how well they fit.

A Cell is prepared once for a field and a session's style, and then lays out any number of values. What
CONTRACT section 4 "Values" leaves open, and is settled here:

- `fill` pads values only; what stands for missing and null is padded with blanks. Digits pad a number on its
  left alone, whatever the alignment, and noughts go between the sign and the digits.
- A flag is aligned like a number, and reads true/false, 1/0, yes/no and on/off, in any case. True and false
  are no numbers: under `int`, `fixed` and `hex` they cannot be read (`*`).
- `map` is looked up by the text as it came, then by the same text trimmed and with single blanks. Null and
  missing have options of their own and are not looked up. A value that is mapped to nothing is missing.
- `scale` and `offset` also apply to numbers, and to numeric text, under `text` and `code`.
- A date that lacks what its pattern writes (a time of day under `date`, a year under `%H:%M`) is laid out as
  text: nothing is invented.
"""

import zoneinfo
from abc import ABC, abstractmethod
from datetime import timedelta, tzinfo
from decimal import Decimal
from enum import Enum, IntEnum
from typing import Final, NamedTuple, TypeAlias

from adapters.errors import WrongWords
from gateway.extract.fields import dates, numbers, patterns
from gateway.extract.fields.text import Lettering, cut, place
from gateway.extract.json_text import to_text
from gateway.extract.plan import Align, Field, Kind
from gateway.extract.values import MISSING, JsonNumber, JsonValue, Value


class Fit(Enum):
    """What laying out did to a value."""

    WHOLE = "whole"
    CUT = "cut"
    MISFIT = "misfit"


class Laid(NamedTuple):
    """A value in its field: as many characters as the field is wide."""

    text: str
    fit: Fit


class Group(IntEnum):
    """Where a value stands in a sorted column, descending or not."""

    READABLE = 0
    UNREADABLE = 1
    NULL = 2
    MISSING = 3


SortKey: TypeAlias = tuple[int, Decimal | timedelta | str, str]


class Order(NamedTuple):
    """A value's place among others of its column; keys compare within one group."""

    group: Group
    key: SortKey


_NO_KEY: Final[SortKey] = (0, "", "")


class Cell(ABC):
    """One field, ready to lay out values that `resolve` has been asked for."""

    _default_align = Align.LEFT

    def __init__(self, field: Field, lettering: Lettering) -> None:
        self.width = field.width
        self.decimals = field.decimals
        self._map = field.map
        self._scale = field.scale
        self._offset = field.offset
        self._scales = field.scale is not None or field.offset is not None
        self._cut = field.cut
        self._clean = lettering.clean
        self._align = field.align or self._default_align
        fill = lettering.clean(field.fill) if field.fill is not None else self._default_fill()
        self._fill = fill if len(fill) == 1 else " "
        self._stars = Laid("*" * field.width, Fit.MISFIT)
        self._missing = self._marker(field.missing)
        self._null = self._marker(field.null)

    def _default_fill(self) -> str:
        return " "

    def _marker(self, text: str) -> Laid:
        clean = self._clean(text)
        fit = Fit.WHOLE if len(clean) <= self.width else Fit.CUT
        return Laid(place(cut(clean, self.width), self.width, self._align), fit)

    def resolve(self, value: Value) -> Value:
        """`value` after the field's `map`."""
        if not self._map or value is None or value is MISSING:
            return value
        text = _source_text(value)
        mapped = self._map.get(text)
        if mapped is None:
            mapped = self._map.get(" ".join(text.split()))
        if mapped is None:
            return value
        return mapped if mapped else MISSING

    def lay(self, value: Value) -> Laid:
        """A resolved value in its field."""
        if value is MISSING:
            return self._missing
        if value is None:
            return self._null
        return self._lay(value)

    @abstractmethod
    def _lay(self, value: JsonValue) -> Laid: ...

    def lay_number(self, number: Decimal) -> Laid:
        """A number that was computed from the column: already scaled, with the digits it has."""
        return self._fitted_number(numbers.digits(number))

    def number(self, value: Value) -> Decimal | None:
        """A resolved value as this field's exact, scaled, unrounded number; None where it is none."""
        number = numbers.number_of(value)
        if number is None or not self._scales:
            return number
        return numbers.scaled(number, self._scale, self._offset)

    def order(self, value: Value) -> Order:
        """A resolved value's place in the column."""
        if value is MISSING:
            return Order(Group.MISSING, _NO_KEY)
        if value is None:
            return Order(Group.NULL, _NO_KEY)
        key = self._key(value)
        return Order(Group.UNREADABLE, self._text_key(value)) if key is None else Order(Group.READABLE, key)

    def _key(self, value: JsonValue) -> SortKey | None:
        number = self.number(value)
        return None if number is None else (0, number, "")

    def _text_key(self, value: JsonValue) -> SortKey:
        text = self._clean(_source_text(value))
        return 1, text.casefold(), text

    def _lay_text(self, value: JsonValue) -> Laid:
        """Any value as text: what `text` does, and what a date does that cannot be read."""
        if isinstance(value, JsonNumber):
            digits = numbers.expanded(value.text)
            return self._stars if digits is None else self._fitted_number(digits)
        return self._fitted_text(self._clean(value if isinstance(value, str) else _source_text(value)))

    def _fitted_text(self, clean: str) -> Laid:
        if len(clean) <= self.width:
            return Laid(place(clean, self.width, self._align, self._fill), Fit.WHOLE)
        return Laid(place(cut(clean, self.width, self._cut), self.width, self._align, self._fill), Fit.CUT)

    def _fitted_number(self, digits: str) -> Laid:
        if len(digits) > self.width:
            return self._stars
        return Laid(place(digits, self.width, self._align, self._fill), Fit.WHOLE)


def _source_text(value: Value) -> str:
    """A value as the words that its author sent: compact JSON for a container, the literal for a number."""
    if isinstance(value, str):
        return value
    if isinstance(value, JsonNumber):
        return value.text
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is MISSING else to_text(value)


class TextCell(Cell):
    """`text`: made printable, cut where it is too long. A number is never cut."""

    def _lay(self, value: JsonValue) -> Laid:
        if self._scales:
            number = self.number(value)
            if number is not None:
                return self.lay_number(number)
        return self._lay_text(value)

    def _key(self, value: JsonValue) -> SortKey | None:
        if isinstance(value, JsonNumber) or self._scales:
            number = self.number(value)
            if number is not None:
                return 0, number, ""
        return self._text_key(value)


class CodeCell(TextCell):
    """`code`: text that is never cut."""

    def _fitted_text(self, clean: str) -> Laid:
        return super()._fitted_text(clean) if len(clean) <= self.width else self._stars


class NumberCell(Cell):
    """`int` and `fixed`: rounded half away from zero to `decimals` decimals."""

    _default_align = Align.RIGHT

    def __init__(self, field: Field, lettering: Lettering) -> None:
        super().__init__(field, lettering)
        if field.kind is not Kind.FIXED:
            self.decimals = 0
        self._sent_digits_do = self.decimals == 0 and not self._scales
        if self._fill.isdigit():
            self._align = Align.RIGHT

    def _lay(self, value: JsonValue) -> Laid:
        if self._sent_digits_do and isinstance(value, JsonNumber):
            text = value.text
            if len(text) <= self.width and text.isascii() and text.isdecimal():
                return self._fitted_number(text)
        number = self.number(value)
        return self._stars if number is None else self.lay_number(number)

    def lay_number(self, number: Decimal) -> Laid:
        """The number rounded, or `*` where it does not fit."""
        if number and number.adjusted() >= self.width:  # more whole digits than the field has room for
            return self._stars
        return self._fitted_number(numbers.rounded(number, self.decimals))

    def _fitted_number(self, digits: str) -> Laid:
        if self._fill == "0" and len(digits) <= self.width:
            return Laid(digits.zfill(self.width), Fit.WHOLE)
        return super()._fitted_number(digits)


class HexCell(NumberCell):
    """`hex`: a whole number in base 16."""

    def _default_fill(self) -> str:
        return "0"

    def _lay(self, value: JsonValue) -> Laid:
        number = self.number(value)
        return self._stars if number is None else self.lay_number(number)

    def lay_number(self, number: Decimal) -> Laid:
        """The number in base 16, or `*` where it does not fit, is negative or has a fraction."""
        digits = numbers.hexadecimal(number)
        return self._stars if digits is None else self._fitted_number(digits)


class FlagCell(Cell):
    """`flag`: 1 or 0."""

    _default_align = Align.RIGHT

    def _lay(self, value: JsonValue) -> Laid:
        number = self.number(value)
        return self._stars if number is None else self.lay_number(number)

    def number(self, value: Value) -> Decimal | None:
        """1 or 0, or None where the value is neither yes nor no."""
        if isinstance(value, bool):
            return _YES if value else _NO
        if isinstance(value, str):
            word = value.strip()
            if len(word) <= _LONGEST_WORD and word.lower() in _FLAG_WORDS:
                return _FLAG_WORDS[word.lower()]
        number = numbers.number_of(value)
        return _YES if number == _YES else _NO if number == _NO else None


_YES: Final = Decimal(1)
_NO: Final = Decimal(0)
_FLAG_WORDS: Final = {"true": _YES, "yes": _YES, "on": _YES, "false": _NO, "no": _NO, "off": _NO}
_LONGEST_WORD: Final = max(map(len, _FLAG_WORDS))


class DateCell(Cell):
    """`date` and `time`: written in the field's zone, else the session's."""

    def __init__(self, field: Field, lettering: Lettering, session_zone: str) -> None:
        super().__init__(field, lettering)
        pattern = field.out_pattern
        if pattern is None:
            clock = "%H:%M:%S" if field.width >= len("HH:MM:SS") else "%H:%M"
            pattern = "%Y-%m-%d" if field.kind is Kind.DATE else clock
        self._out = patterns.compile_out(pattern)
        self._in = None if field.in_pattern is None else patterns.compile_in(field.in_pattern)
        self._zone = _zone(field.zone or session_zone)

    def _moment(self, value: Value) -> dates.Moment | None:
        if self._in is None:
            return dates.read(value)
        text = numbers.expanded(value.text) if isinstance(value, JsonNumber) else value
        return self._in.read(text) if isinstance(text, str) else None

    def _lay(self, value: JsonValue) -> Laid:
        moment = self._moment(value)
        if moment is not None and self._out.needs & ~moment.parts == 0:
            stamp = moment.shown_in(self._zone)
            if stamp is not None:
                return self._fitted_text(self._clean(self._out.write(stamp)))
        return self._lay_text(value)

    def _key(self, value: JsonValue) -> SortKey | None:
        moment = self._moment(value)
        if moment is None:
            return None
        return int(moment.parts == dates.CLOCK), moment.since_epoch(self._zone), ""


def _zone(name: str) -> tzinfo:
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as fault:
        raise WrongWords("No such time zone") from fault


def make_cell(field: Field, lettering: Lettering, session_zone: str) -> Cell:
    """The cell of a field. WrongWords: a zone that is not in the IANA data."""
    match field.kind:
        case Kind.TEXT:
            return TextCell(field, lettering)
        case Kind.CODE:
            return CodeCell(field, lettering)
        case Kind.INT | Kind.FIXED:
            return NumberCell(field, lettering)
        case Kind.HEX:
            return HexCell(field, lettering)
        case Kind.FLAG:
            return FlagCell(field, lettering)
        case Kind.DATE | Kind.TIME:  # pragma: no branch — mypy knows that these are all
            return DateCell(field, lettering, session_zone)
