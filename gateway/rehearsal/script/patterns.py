"""A pattern's text <-> its parts, and the bytes that they match.

A part takes the bytes from one place to any of several; a pattern matches where its parts, one after
another, can come from the first byte to the last. All of them are tried at once, so that no order matters.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

_TOKEN: Final = re.compile(
    r"\\x(?P<byte>[0-9A-Fa-f]{2})|\\(?P<sign>[\\{}])|\{(?P<word>any|number)(?: (?P<width>[0-9]+))?\}"
    r"|(?P<like>\{like )|(?P<plain>[^\\{}])"
)
_NUMBER: Final = re.compile(rb"[+-]?[0-9]+(?:\.[0-9]+)?")
_WIDEST: Final = 99_999  # columns of a part; a gateway's records are no wider
_LONGEST_NUMBER: Final = 64  # characters


class PatternFault(ValueError):
    """A pattern that cannot be used. `position` counts characters from 0, into its text."""

    def __init__(self, why: str, position: int) -> None:
        super().__init__(why)
        self.position = position


@dataclass(frozen=True, slots=True)
class Literal:
    """These bytes."""

    data: bytes

    def ends(self, data: bytes, start: int) -> Iterable[int]:
        """Where it can end that begins at `start`."""
        return (start + len(self.data),) if data.startswith(self.data, start) else ()


@dataclass(frozen=True, slots=True)
class Any:
    """Any bytes: `width` of them, or as many as there are."""

    width: int | None = None

    def ends(self, data: bytes, start: int) -> Iterable[int]:
        """Where it can end that begins at `start`."""
        if self.width is None:
            return range(start, len(data) + 1)
        return (start + self.width,) if start + self.width <= len(data) else ()


@dataclass(frozen=True, slots=True)
class Number:
    """A decimal number, alone or in `width` columns."""

    width: int | None = None

    def ends(self, data: bytes, start: int) -> Iterable[int]:
        """Where it can end that begins at `start`."""
        if self.width is None:
            last = min(len(data), start + _LONGEST_NUMBER)
            return [end for end in range(start + 1, last + 1) if _NUMBER.fullmatch(data, start, end)]
        end = start + self.width
        whole = end <= len(data) and _NUMBER.fullmatch(data[start:end].strip(b" ")) is not None
        return (end,) if whole else ()


@dataclass(frozen=True, slots=True)
class Like:
    """What a regular expression matches as a whole; text and bytes are Latin-1 to each other."""

    text: str

    def ends(self, data: bytes, start: int) -> Iterable[int]:
        """Where it can end that begins at `start`."""
        expression = _compiled(self.text)
        return [end for end in range(start, len(data) + 1) if expression.fullmatch(data, start, end)]


Part: TypeAlias = Literal | Any | Number | Like


@dataclass(frozen=True, slots=True)
class Pattern:
    """Parts in a row, no two literals next to each other."""

    parts: tuple[Part, ...] = ()

    @property
    def literal(self) -> bool:
        """Whether it stands for nothing but itself."""
        return all(isinstance(part, Literal) for part in self.parts)

    @property
    def width(self) -> int | None:
        """How many bytes it stands for; None where that depends."""
        widths = [_width(part) for part in self.parts]
        return None if None in widths else sum(width or 0 for width in widths)

    def matches(self, data: bytes) -> bool:
        """Whether all of `data` is what it stands for."""
        return len(data) in _reached(self.parts, data)

    def first_end(self, data: bytes) -> int | None:
        """The fewest bytes at the beginning of `data` that it stands for; None where more have to come."""
        return min(_reached(self.parts, data), default=None)

    def differing(self, data: bytes) -> list[int]:
        """The columns of `data`, from 0, that it does not stand for; one more where more was expected.

        Columns are compared one by one as far as the parts have a width; beyond that, everything from the
        first column that no part reaches.
        """
        columns, place = list[int](), 0
        for index, part in enumerate(self.parts):
            width = _width(part)
            if width is None:
                return columns + _beyond(self.parts[index:], data, place)
            columns += _columns(part, data, place, width)
            place += width
        return [column for column in columns if column < len(data)] + (
            [len(data)] if place > len(data) else list(range(place, len(data)))
        )


def _width(part: Part) -> int | None:
    if isinstance(part, Literal):
        return len(part.data)
    return part.width if isinstance(part, Any | Number) else None


def _columns(part: Part, data: bytes, place: int, width: int) -> list[int]:
    if isinstance(part, Literal):
        there = data[place : place + width]
        return [place + at for at, (one, two) in enumerate(zip(part.data, there, strict=False)) if one != two]
    return [] if list(part.ends(data, place)) else list(range(place, place + width))


def _beyond(parts: tuple[Part, ...], data: bytes, place: int) -> list[int]:
    places, furthest = {place}, place
    for part in parts:
        places = _next(part, data, places)
        if not places:
            break
        furthest = max(furthest, min(places))
    if len(data) in places:
        return []
    return list(range(furthest, len(data))) or [len(data)]


def _reached(parts: Iterable[Part], data: bytes) -> set[int]:
    places = {0}
    for part in parts:
        places = _next(part, data, places)
    return places


def _next(part: Part, data: bytes, places: set[int]) -> set[int]:
    """Where a part can end that begins at one of these places."""
    if isinstance(part, Any) and part.width is None and places:
        places = {min(places)}  # from there it reaches whatever it reaches from the others
    return {end for start in places for end in part.ends(data, start)}


@lru_cache(maxsize=256)
def _compiled(text: str) -> re.Pattern[bytes]:
    return re.compile(text.encode("latin-1"), re.DOTALL)


def read_pattern(text: str) -> Pattern:
    """Text as it stands in a script -> Pattern; PatternFault where it is none."""
    parts: list[Part] = []
    held, place = bytearray(), 0
    while place < len(text):
        match = _TOKEN.match(text, place)
        if match is None:
            raise PatternFault("a \\ or a brace that means nothing; \\\\ and \\{ stand for themselves", place)
        place = match.end()
        if match["byte"] or match["sign"] or match["plain"]:
            held += bytes([int(match["byte"], 16)]) if match["byte"] else match[match.lastgroup or 0].encode()
            continue
        if held:
            parts.append(Literal(bytes(held)))
            held.clear()
        if match["like"]:
            expression = _up_to_brace(text, place)
            parts.append(_like(expression, place))
            place += len(expression) + 1
        else:
            width = None if match["width"] is None else _columns_of(match["width"], match.start("width"))
            parts.append(Any(width) if match["word"] == "any" else Number(width))
    if held:
        parts.append(Literal(bytes(held)))
    return Pattern(tuple(parts))


def _up_to_brace(text: str, place: int) -> str:
    """What stands before the brace that closes the one before `place`; those within come in pairs."""
    depth = 1
    for at in range(place, len(text)):
        depth += {"{": 1, "}": -1}.get(text[at], 0)
        if not depth:
            return text[place:at]
    raise PatternFault("no brace closes this", place)


def _like(expression: str, place: int) -> Like:
    try:
        _compiled(expression)
    except (re.error, UnicodeEncodeError) as error:
        raise PatternFault(f"not a regular expression: {error}", place) from error
    except (OverflowError, RecursionError) as error:
        raise PatternFault("a regular expression that is too deep, or repeats too often", place) from error
    return Like(expression)


def _columns_of(text: str, place: int) -> int:
    if len(text) <= len(str(_WIDEST)) and int(text) > 0:
        return int(text)
    raise PatternFault(f"not 1 to {_WIDEST} columns", place)


def shown_bytes(data: bytes) -> str:
    """Bytes as a script holds them, all on one line."""
    return "".join(_shown_byte(byte) for byte in data)


def _shown_byte(byte: int) -> str:
    if not 0x20 <= byte < 0x7F:
        return f"\\x{byte:02X}"
    return f"\\{byte:c}" if byte in b"\\{}" else chr(byte)


def shown_pattern(pattern: Pattern) -> str:
    """A pattern as a script holds it; what `read_pattern` takes."""
    return "".join(_shown_part(part) for part in pattern.parts)


def _shown_part(part: Part) -> str:
    if isinstance(part, Literal):
        return shown_bytes(part.data)
    if isinstance(part, Like):
        return f"{{like {part.text}}}"
    word = "any" if isinstance(part, Any) else "number"
    return f"{{{word}}}" if part.width is None else f"{{{word} {part.width}}}"
