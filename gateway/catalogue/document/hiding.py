"""TOML text + where its values stand -> the same text for people's eyes, starred where a secret may stand.

Beside what `masked` sees in a line: all values of keys that are not known where they stand, since a secret
is often tried under a key of one's own, and the values of header fields but for a few that hold none.
`{arg}` stays. Each character keeps its place, so a caret below stays right.
"""

import re
from collections.abc import Sequence
from typing import Final

from gateway.catalogue.document.mistakes import masked, printable, starred
from gateway.catalogue.document.positions import Cause, Path, Positions
from gateway.catalogue.keys.table import KEYS

_OPEN_HEADERS: Final = frozenset(
    {"accept", "accept-language", "cache-control", "content-type", "prefer", "user-agent"}
)
_NAMED: Final = frozenset({"place", "phone", "hear", "rights", "source", "profile"})
_MEMBER: Final = re.compile(r"(?<![A-Za-z0-9_-])([A-Za-z0-9_-]+)[\"']?[ \t]*[=:]")
_FIRST_WORD: Final = re.compile("[ \\t]*[\"']?[A-Za-z0-9_-]*[\"']?")
_VALUE_BEGUN: Final = re.compile("[=:\"']")
_SAID: Final = 8  # of a secret's characters, enough to know it again in a message


class Hiding:
    """One file's text as it may be shown; `see` adds what a look at its values finds."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._seen: list[Positions] = []
        self._shown: str | None = None

    def see(self, positions: Positions) -> None:
        """Places of values in the text, or in the text with some of it blanked."""
        self._seen.append(positions)
        self._shown = None

    @property
    def text(self) -> str:
        """The text with asterisks; of the same length."""
        if self._shown is None:
            self._shown = "\n".join(masked(line) for line in self._text.split("\n"))
            for positions in self._seen:
                for path, start, end in _spans(self._text, positions):
                    self._shown = starred(self._shown, start, end, expressions="headers" not in path[2:3])
        return self._shown

    def hides(self, start: int, end: int) -> bool:
        """Whether any of `text[start:end]` is hidden, so that no message may repeat it."""
        return self.text[start:end] != self._text[start:end]

    def told_by(self, said: str, spans: Sequence[tuple[int, int]]) -> bool:
        """Whether a message says anything that is hidden in `spans`."""
        for start, end in spans:
            if not self.hides(start, end):
                continue
            pieces = [self._text[start:end].strip("\"'")]
            hidden = "".join(
                each if each != shown else "\n"
                for each, shown in zip(self._text[start:end], self.text[start:end], strict=True)
            )
            pieces += [each for each in hidden.split("\n") if len(each) >= 3]
            if any(each and printable(each, len(each))[:_SAID] in said for each in pieces):
                return True
        return False


def _spans(text: str, positions: Positions) -> list[tuple[Path, int, int]]:
    """Path, start and end of every value that is hidden for its key's sake."""
    headers = {spot.start for spot in positions.keys.values()}
    spans = [
        (path, spot.start, spot.end)
        for path, spot in positions.values.items()
        if spot.start not in headers and _private(path, text[spot.start : spot.start + 1])
    ]
    spans += [
        (path, spot.end, _line_end(text, spot.end)) for path, spot in positions.repeated if _private(path)
    ]
    return spans + _lost_span(text, positions)


def _lost_span(text: str, positions: Positions) -> list[tuple[Path, int, int]]:
    """What a broken statement's line holds after a key whose value is hidden."""
    lost = positions.lost
    if lost is None or not positions.statements:
        return []
    statement = positions.statements[-1]
    if statement.header:  # broken: perhaps a key and its value, after a bracket too many
        end = _line_end(text, statement.start)
        equals = text.find("=", statement.start, end)
        return [] if equals < 0 else [((), equals, end)]
    if statement.key is None:  # a line that begins with no key
        value = _VALUE_BEGUN.search(text, statement.start, _line_end(text, statement.start))
        return [] if value is None else [((), value.start(), _line_end(text, value.start()))]
    path, start = statement.path, statement.key.end
    end = _line_end(text, max(lost.offset, start))
    if lost.cause is Cause.EQUALS:  # then a value may pass for the last word of a dotted key
        opened = max(text.rfind(mark, start, lost.offset) for mark in "{,") + 1
        word = _FIRST_WORD.match(text, opened or statement.start)
        start = word.end() if word is not None else start
    if _private(path):  # all that stands after such a key, also what passes for a key of its table
        return [(path, min(start, statement.key.end), end)]
    for member in _MEMBER.finditer(text, statement.key.end, end):
        if _private((*path, member[1])):
            return [((*path, member[1]), member.end(1), end)]
    # Where any key of one's own would be hidden, so is what has lost its key or its equals sign.
    return (
        [(path, start if lost.cause is Cause.EQUALS else lost.offset, end)] if _private((*path, "")) else []
    )


def _line_end(text: str, offset: int) -> int:
    end = text.find("\n", offset)
    return len(text) if end < 0 else end


def _private(path: Path, mark: str = "") -> bool:
    """Whether the value at `path`, which begins with `mark`, is not for messages."""
    names = [each for each in path if isinstance(each, str)]
    if not names or names[0] not in KEYS[""]:
        return bool(names)
    table, rest = names[0], names[1:]
    if table in _NAMED:
        if len(rest) == 1:
            return mark not in {"{", ""}
        rest = rest[1:]
    if table == "source" and len(rest) > 1 and rest[0] in KEYS:
        table, rest = rest[0], rest[1:]
    if table == "source" and len(rest) > 1 and rest[0] == "headers":
        return rest[1].lower() not in _OPEN_HEADERS
    return bool(rest) and rest[0] not in KEYS[table]
