"""TOML text -> where every key and value stands, so that a mistake can point at the right word.

`tomllib` reads the file and is the judge of what is TOML (v1.0.0); this scanner only finds places. On text
that is no TOML it goes as far as it can make sense of it and says where it was lost.
"""

import re
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final, NamedTuple, NoReturn, TypeAlias

from adapters import limits

Path: TypeAlias = tuple[str | int, ...]
"""Keys, and indexes of arrays from 0, from the top of the document."""


class Spot(NamedTuple):
    """A place in the text. Lines and columns count characters from 1; `end_column` is exclusive.

    A value of several lines has its `end_column` where its first line ends. `start` and `end` are offsets.
    """

    line: int
    column: int
    end_column: int
    start: int
    end: int


class Cause(Enum):
    """Why the scanner was lost."""

    KEY = "no key where one must stand"
    EQUALS = "no equals sign after a key"
    VALUE = "no value where one must stand"
    STRING = "a text that is not closed"
    LONG_STRING = "a text of several lines that is not closed"
    LIST = "no comma and no end in a list"
    TABLE = "no comma and no end in an inline table"
    HEADER = "no end of a header"
    REST = "something after the end of a statement"
    DEPTH = "nested too deep"
    DIGITS = "a number of too many digits"


@dataclass(frozen=True, slots=True)
class Lost:
    """Where the scanner could not go on; `opened` is the bracket that is still open there.

    `within`: it happened inside a list or an inline table, which may go on over further lines.
    """

    cause: Cause
    offset: int
    opened: int
    within: bool


@dataclass(frozen=True, slots=True)
class Statement:
    """One header or one `key = value`. `table` is where it stands or what it opens; `end` where it ends.

    `key` is the place of its key or of its header's last word, or None where the scanner was lost before;
    `path` is that key's.
    """

    start: int
    end: int
    table: Path
    header: bool
    key: Spot | None
    path: Path


@dataclass(frozen=True, slots=True)
class Positions:
    """Places of all keys (their words, quotes included) and of all values, by path.

    A path that is there more than once has the place of its first; `repeated` has the keys of later pairs.
    """

    keys: Mapping[Path, Spot]
    values: Mapping[Path, Spot]
    repeated: tuple[tuple[Path, Spot], ...]
    statements: tuple[Statement, ...]
    lost: Lost | None


class _LostError(Exception):
    def __init__(self, lost: Lost) -> None:
        super().__init__(lost.cause.value)
        self.lost = lost


_GAP: Final = re.compile(r"[ \t]*")
_LINES: Final = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_STRINGS: Final = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|(?!""")"(?:[^"\\\n]|\\[^\n])*"'
    r"|(?!''')'[^'\n]*'",
    re.DOTALL,
)
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_BARE: Final = re.compile(r"\d{4}-\d\d-\d\d \d\d:[^\s,\]}#]*|[^\s,\[\]{}#=\"']+")
_PIECES: Final = re.compile(
    r"\\u[0-9A-Fa-f]{4}|\\U[0-9A-Fa-f]{8}|\\[ \t]*\n[ \t\n]*|\\[^\n]|[^\\]|\\", re.DOTALL
)
_ESCAPES: Final = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def characters(literal: str) -> list[tuple[str, int]]:
    """The characters that a TOML string stands for, each with the offset in `literal` where it is written."""
    size = 3 if literal.startswith(('"""', "'''")) and len(literal) >= 6 else 1
    start, end = size, len(literal) - size
    if size == 3 and literal[start : start + 1] == "\n":
        start += 1
    if literal[0] == "'":
        return [(literal[offset], offset) for offset in range(start, end)]
    found: list[tuple[str, int]] = []
    for piece in _PIECES.finditer(literal, start, end):
        written = piece.group()
        if written[0] != "\\":
            found.append((written, piece.start()))
        elif written[1:2] in {"u", "U"} and len(written) > 2:
            found.append((chr(int(written[2:], 16)), piece.start()))
        elif written[1:] in _ESCAPES:
            found.append((_ESCAPES[written[1:]], piece.start()))
    return found


class LineIndex:
    """Offsets of one text -> lines and columns."""

    def __init__(self, text: str) -> None:
        self._starts = [0] + [each.end() for each in re.finditer("\n", text)]
        self._size = len(text)

    def spot(self, start: int, end: int) -> Spot:
        """The place from `start` to `end`, cut at the end of its first line."""
        index = bisect_right(self._starts, start) - 1
        following = self._starts[index + 1] - 1 if index + 1 < len(self._starts) else self._size
        begin = self._starts[index]
        return Spot(index + 1, start - begin + 1, min(end, following) - begin + 1, start, end)

    def offset(self, line: int, column: int) -> int:
        """The offset of a line and column."""
        return self._starts[min(line, len(self._starts)) - 1] + column - 1


def find_positions(text: str) -> Positions:
    """Every key and value of `text`, whose line ends are LF, as far as it can be followed."""
    return _Scanner(text).scan()


class _Scanner:
    def __init__(self, text: str) -> None:
        self._text = text
        self._index = LineIndex(text)
        self._at = 0
        self._table: Path = ()
        self._counts: dict[Path, int] = {}  # arrays of tables -> index of the last one
        self._keys: dict[Path, Spot] = {}
        self._values: dict[Path, Spot] = {}
        self._repeated: list[tuple[Path, Spot]] = []
        self._key: Spot | None = None
        self._path: Path = ()
        self._open = 0  # brackets of lists and inline tables

    def scan(self) -> Positions:
        statements: list[Statement] = []
        lost = None
        while lost is None:
            self._skip(_LINES)
            start, self._key, self._path, self._open = self._at, None, self._table, 0
            if start >= len(self._text):
                break
            header = self._text[start] == "["
            try:
                self._header() if header else self._pair(self._table)
                self._line_end()
            except _LostError as error:
                lost = self._lost_header(error.lost, start, header)
                header = header or lost.cause is Cause.HEADER
            statements.append(Statement(start, self._at, self._table, header, self._key, self._path))
        return Positions(self._keys, self._values, tuple(self._repeated), tuple(statements), lost)

    def _lost_header(self, lost: Lost, start: int, header: bool) -> Lost:
        """`name]` and `[name]]` are headers that lost a bracket; any other loss is what it is."""
        bracket = self._text.startswith("]", lost.offset) and not lost.within
        if not bracket or lost.cause is not (Cause.REST if header else Cause.EQUALS):
            return lost
        if not header:
            self._path = self._path[len(self._table) :]
        return Lost(Cause.HEADER, lost.offset, start, within=False)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self._text, self._at)
        assert match is not None  # every such pattern matches nothing, too
        self._at = match.end()

    def _next(self, mark: str) -> bool:
        return self._text.startswith(mark, self._at)

    def _fail(self, cause: Cause, opened: int | None = None) -> NoReturn:
        raise _LostError(Lost(cause, self._at, self._at if opened is None else opened, self._open > 0))

    def _line_end(self) -> None:
        self._skip(_GAP)
        if self._at < len(self._text) and self._text[self._at] not in "#\n":
            self._fail(Cause.REST)

    def _header(self) -> None:
        opened = self._at
        mark = "[[" if self._next("[[") else "["
        self._at += len(mark)
        words = self._dotted()
        self._path, self._key = tuple(word for word, _ in words), words[-1][1]
        if not self._next("]" * len(mark)):
            self._fail(Cause.HEADER, opened)
        self._at += len(mark)
        path: Path = ()
        for index, (word, spot) in enumerate(words):
            path = (*path, word)
            self._keys.setdefault(path, spot)
            self._values.setdefault(path, spot)
            last = index == len(words) - 1
            if last and mark == "[[":
                self._counts[path] = self._counts.get(path, -1) + 1
            if path in self._counts:
                path = (*path, self._counts[path])
                self._values.setdefault(path, spot)
        self._table, self._path = path, path

    def _dotted(self) -> list[tuple[str, Spot]]:
        words: list[tuple[str, Spot]] = []
        while True:
            self._skip(_GAP)
            start = self._at
            if self._text[start : start + 1] in {'"', "'"}:
                word = "".join(each for each, _ in characters(self._string()))
            else:
                bare = _BARE_KEY.match(self._text, start)
                if bare is None:
                    self._fail(Cause.KEY)
                word, self._at = bare.group(), bare.end()
            words.append((word, self._index.spot(start, self._at)))
            self._skip(_GAP)
            if len(words) > limits.CATALOGUE_DEPTH:
                self._fail(Cause.DEPTH)
            if not self._next("."):
                return words
            self._at += 1

    def _string(self) -> str:
        match = _STRINGS.match(self._text, self._at)
        if match is None:
            long = self._text[self._at : self._at + 3] in {'"""', "'''"}
            self._fail(Cause.LONG_STRING if long else Cause.STRING)
        self._at = match.end()
        return match.group()

    def _pair(self, table: Path) -> None:
        words = self._dotted()
        path = table
        for word, spot in words[:-1]:
            path = (*path, word)
            self._keys.setdefault(path, spot)
            self._values.setdefault(path, spot)
        path = (*path, words[-1][0])
        if path in self._values:
            self._repeated.append((path, words[-1][1]))
        self._keys.setdefault(path, words[-1][1])
        if not self._open:
            self._key, self._path = words[-1][1], path
        if not self._next("="):
            self._fail(Cause.EQUALS)
        self._at += 1
        self._skip(_GAP)
        self._value(path)

    def _value(self, path: Path) -> None:
        start = self._at
        mark = self._text[start : start + 1]
        if len(path) > limits.CATALOGUE_DEPTH:
            self._fail(Cause.DEPTH)
        if mark in {'"', "'"}:
            self._string()
        elif mark == "[":
            self._list(path)
        elif mark == "{":
            self._inline(path)
        else:
            bare = _BARE.match(self._text, start)
            if bare is None:
                self._fail(Cause.VALUE)
            if len(bare.group()) > limits.DIGITS:
                self._fail(Cause.DIGITS)
            self._at = bare.end()
        self._values.setdefault(path, self._index.spot(start, self._at))

    def _list(self, path: Path) -> None:
        opened, index = self._at, 0
        self._at += 1
        self._open += 1
        self._skip(_LINES)
        while not self._next("]"):
            if self._at >= len(self._text):
                self._fail(Cause.LIST, opened)
            self._value((*path, index))
            index += 1
            self._separate("]", Cause.LIST, opened)
        self._at += 1
        self._open -= 1

    def _inline(self, path: Path) -> None:
        # Line ends are allowed here though TOML 1.0 has none: then the statement's end is known.
        opened = self._at
        self._at += 1
        self._open += 1
        self._skip(_LINES)
        while not self._next("}"):
            if self._at >= len(self._text):
                self._fail(Cause.TABLE, opened)
            self._pair(path)
            self._separate("}", Cause.TABLE, opened)
        self._at += 1
        self._open -= 1

    def _separate(self, end: str, cause: Cause, opened: int) -> None:
        self._skip(_LINES)
        if self._next(","):
            self._at += 1
            self._skip(_LINES)
        elif not self._next(end):
            self._fail(cause, opened)
