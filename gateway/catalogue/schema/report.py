"""path + what is wrong there -> Mistake, its caret under exactly the right word."""

from collections.abc import Callable, Container, Iterable
from typing import Final

from gateway.catalogue.document.mistakes import Mistake, TextFault, nearest, printable
from gateway.catalogue.document.parsing import Parsed
from gateway.catalogue.document.positions import LineIndex, Path, Spot, characters
from gateway.catalogue.document.syntax import dotted
from gateway.catalogue.keys.key import SCHEMES
from gateway.catalogue.model import Number

LATER: Final = "not in this version yet"


class Report:
    """All mistakes of one file while it is read. `read` collects (table, key) of every key asked for.

    `read_secret`, `check_ca`, `schemes`, `check_folder` and `read_table` are those of `load_catalogue`.
    """

    def __init__(
        self,
        text: str,
        parsed: Parsed,
        read_secret: Callable[[str], str | None],
        check_ca: Callable[[str], str | None] | None = None,
        schemes: Container[str] | None = None,
        *,
        check_folder: Callable[[str], str | None] | None = None,
        read_table: Callable[[str], str | None] = lambda _: None,
    ) -> None:
        self.read_secret = read_secret
        self.read_table = read_table
        self.check_folder = check_folder
        self.check_ca = check_ca
        self.schemes = schemes
        self.read: set[tuple[str, str]] = set()
        self._text = text
        self._index = LineIndex(text)
        self._keys = parsed.positions.keys
        self._values = parsed.positions.values
        self._damaged = parsed.damaged
        self._hiding = parsed.hiding
        self._mistakes = list(parsed.mistakes)

    @property
    def mistakes(self) -> tuple[Mistake, ...]:
        """In the order of the file, each once."""
        return tuple(sorted(set(self._mistakes), key=lambda each: (each.line, each.column, each.found)))

    @property
    def shown_text(self) -> str:
        """The file's text as messages may show it."""
        return self._hiding.text

    def scheme_fault(self, scheme: str) -> TextFault | None:
        """What is wrong with a known scheme in front of a URL: nothing here fetches it."""
        if self.schemes is None or scheme in self.schemes:
            return None
        ready = " ".join(each for each in SCHEMES if each in self.schemes)
        return TextFault(LATER, 0, len(scheme), ready or "no scheme: no adapter is installed")

    def intact(self, path: Path) -> bool:
        """Whether all that stands at and below `path` could be read, so that what is not there is missing."""
        return not any(
            path[: len(damaged)] == damaged or damaged[: len(path)] == path for damaged in self._damaged
        )

    def at_key(self, path: Path, found: str, allowed: str, near: str = "") -> None:
        """A mistake about a key or a whole table."""
        spots = self._values if path and isinstance(path[-1], int) else self._keys
        self._add(path, self._spot(spots, path), found, allowed, near)

    def at_value(self, path: Path, found: str, allowed: str, near: str = "") -> None:
        """A mistake about a value; the caret marks a text without its quotes."""
        spot = self._spot(self._values, path)
        written = self._text[spot.start : spot.end]
        if written[:1] in {'"', "'"} and len(written) > 2 and "\n" not in written:
            size = 3 if written.startswith(('"""', "'''")) else 1
            spot = self._index.spot(spot.start + size, spot.end - size)
        self._add(path, spot, found, allowed, near)

    def inside(self, path: Path, fault: TextFault) -> None:
        """A mistake about some characters of a text value."""
        start, length = fault.start, fault.length
        found, allowed, near = fault.found, fault.allowed, fault.near
        spot = self._spot(self._values, path)
        written = self._text[spot.start : spot.end]
        if written[:1] not in {'"', "'"}:
            self._add(path, spot, found, allowed, near)
            return
        offsets = [offset for _, offset in characters(written)]
        quote = 3 if written.startswith(('"""', "'''")) and len(written) >= 6 else 1
        offsets.append(len(written) - quote)
        first = offsets[min(start, len(offsets) - 1)]
        last = offsets[min(start + max(length, 1), len(offsets) - 1)]
        marked = self._index.spot(spot.start + first, spot.start + max(last, first + 1))
        self._add(path, marked, found, allowed, near)

    def unknown(self, path: Path, word: str, words: Iterable[str], what: str = "") -> None:
        """A value that is none of `words`."""
        listed = tuple(words)
        allowed = what or " ".join(listed)
        self.at_value(path, shown(word), allowed, nearest(word, listed))

    def _spot(self, spots: object, path: Path) -> Spot:
        """The place of `path`, or of the nearest table around it that has one."""
        assert isinstance(spots, dict)
        while path:
            spot = spots.get(path) or self._values.get(path) or self._keys.get(path)
            if spot is not None:
                return spot
            path = path[:-1]
        return Spot(1, 1, 2, 0, min(1, len(self._text)))

    def _add(self, path: Path, spot: Spot, found: str, allowed: str, near: str) -> None:
        length = max(1, spot.end_column - spot.column)
        key = dotted(path) or "the file"
        value = self._values.get(path, spot)
        spans = ((spot.start, spot.end), (value.start, value.end))
        found = "a value that is not shown" if self._hiding.told_by(found, spans) else found
        near = "" if self._hiding.told_by(near, spans) else near
        self._mistakes.append(Mistake(spot.line, spot.column, length, key, found, allowed, near))


def shown(value: object) -> str:
    """A value of the file in words that a line has room for."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{printable(value)}"' if value else "an empty text"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return printable(value.text if isinstance(value, Number) else str(value), 40)
