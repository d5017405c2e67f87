"""mistakes -> what their author reads: the line, a caret under the word, and the right word.

No rendered line shows a secret that somebody wrote into the file: see `masked`.
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

_SECRETIVE: Final = (
    *("secret", "password", "passwd", "passphrase", "pass", "pw", "token", "apikey", "credential"),
    *("auth", "authorization", "bearer", "cookie"),
)
_OFTEN_MISSPELT: Final = ("secret", "password")
_SAFE_SECRET: Final = re.compile(r"[\"']?(?:env|file|credential):|(?:true|false)[ \t]*\Z", re.IGNORECASE)
_ASSIGNED: Final = re.compile(
    r"(?<![A-Za-z0-9_-])(?P<key>[A-Za-z0-9_-]+)[\"']?[ \t]{0,99}[=:][ \t]*"
    r"(?P<value>\"(?:[^\"\\]|\\.)*\"?|'[^']*'?|[^\s,}#\"'\[{][^,}#]*)"
)
_STRING: Final = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'")
_SAFE_REST: Final = re.compile(
    r"[\"']?[ \t]*[=:][ \t]*(?:\"(?:env|file|credential):[^\"]*\"|'(?:env|file|credential):[^']*')"
)
_NO_PORT: Final = re.compile(r"(?<=//)[^\s/\"'?#\[{:]{0,255}:(?![0-9]{1,6}[/?#\"'])[^\s/\"'?#{]{1,255}")
"""A host and, after its colon, what is no port: the rest of a user and a password that lost its @."""

_QUERY: Final = re.compile(r"[?&][A-Za-z0-9_.~%+\[\]$-]+=")
_URL_QUERY: Final = re.compile(r"://(?:[^?&]|(?<=\{)[?&])*(?<!\{)[?&]")
_PIECE: Final = re.compile(r"(?:[A-Za-z0-9_.~%+\[\]$-]+=)?(?P<value>[^&]*)&?")
_EXPRESSION: Final = re.compile(r"\{[+#./;?&]?[A-Za-z0-9_.%,:*]*\}")
_GOES_ON: Final = re.compile(r"[ \t]*(?:[,}\]#]|$)")
_SPELT_OUT: Final = (("secret", _SAFE_REST), ("password", _SAFE_REST), ("authorization", None))


def distance(left: str, right: str) -> int:
    """Insertions, deletions, replacements and swaps of neighbours that make one word the other.

    The optimal string alignment distance (common practice for spelling; a swap counts once).
    """
    before: list[int] = []
    above = list(range(len(right) + 1))
    for row, one in enumerate(left, 1):
        current = [row]
        for column, other in enumerate(right, 1):
            best = min(above[column] + 1, current[column - 1] + 1, above[column - 1] + (one != other))
            if row > 1 and column > 1 and one == right[column - 2] and other == left[row - 2]:
                best = min(best, before[column - 2] + 1)
            current.append(best)
        before, above = above, current
    return above[-1]


def _away(left: str, right: str, most: int) -> int:
    """Their distance, where it may be `most` or less; else what their lengths differ by, which is no more."""
    longer = abs(len(left) - len(right))
    return longer if longer > most else distance(left, right)


def nearest(word: str, words: Iterable[str]) -> str:
    """The one of `words` that `word` was most likely meant to be, whatever its case; "" for none.

    Of two that are as near, the one that begins alike for longer: few people get the beginning wrong.
    """
    typed = word.casefold()
    found, least, alike = "", len(typed) // 3 + 1, 0
    for each in words:
        known = each.casefold()
        away = _away(typed, known, least)
        if min(len(typed), len(known)) >= 3 and (known.startswith(typed) or typed.startswith(known)):
            away = min(away, least)
        begins = _alike(typed, known)
        if away < least or (away == least and away < len(known) and (not found or begins > alike)):
            found, least, alike = each, away, begins
    return found


def _alike(one: str, other: str) -> int:
    """With how many equal characters two words begin."""
    pairs = enumerate(zip(one, other, strict=False))
    return next((place for place, (mine, its) in pairs if mine != its), min(len(one), len(other)))


def secretive(key: str) -> bool:
    """Whether a key, perhaps misspelt, is one that people put secrets under."""
    bare = key.casefold().replace("_", "").replace("-", "")[-20:]  # no such word is longer
    return bare.endswith(_SECRETIVE) or any(_away(bare, word, 2) <= 2 for word in _OFTEN_MISSPELT)


def masked(line: str) -> str:
    """The line with every literal secret in it replaced by asterisks, its length unchanged.

    Covered: the value of any key like `secret`, `password` or `token`, unless it is `env:` or `file:`; the
    user part of any URL; the values of a URL's query, `{...}` apart; and what follows a word like `secret`
    where the line does not go on as it should. Not covered: a secret where nobody looks for one, such as in a
    URL's path, or a broken line's rest. Where the file's structure is known, `hiding` hides more.
    """
    for match in _ASSIGNED.finditer(line):
        value = match["value"]
        user_and_password = match["key"].casefold() == "basic" and ":" in value
        if (user_and_password or secretive(match["key"])) and not _SAFE_SECRET.match(value):
            whole = _GOES_ON.match(line, match.end()) is not None
            line = starred(line, match.start("value"), match.end() if whole else len(line))
    for match in _NO_PORT.finditer(line):
        line = starred(line, *match.span())
    line = _without_queries(_without_users(line))
    return starred(line, _unsafe_after(line), len(line))


def _without_queries(line: str) -> str:
    """The line without the values of queries: each to the next `&`, else to the quote that ends its text.

    After `scheme://` and a question mark, whatever is no name with an = behind it counts as a value.
    """
    for match in _QUERY.finditer(line):
        quotes = [each for each in line[: match.start()] if each in "\"'"]
        mark = '"' if '"' in quotes else "".join(quotes[-1:])
        ends = [line.find(each, match.end()) for each in ("&", mark) if each]
        end = min((each for each in ends if each >= 0), default=len(line))
        line = starred(line, match.end(), end, expressions=False)
    whole = _URL_QUERY.search(line)
    for piece in _PIECE.finditer(line, whole.end()) if whole is not None else ():
        line = starred(line, *piece.span("value"), expressions=False)
    return line


def _without_users(line: str) -> str:
    """The line without what stands before an @ in a URL, or in what may be left of one."""
    at = line.rfind("@")
    slashes = line.find("//", 0, max(at, 0))
    if slashes >= 0:
        return starred(line, slashes + 2, at)
    colon = line.rfind(":", 0, max(at, 0))
    if colon < 0:
        return line
    start = max(line.rfind(mark, 0, colon) for mark in "/ \t=\"'") + 1
    return starred(line, start, at)


def starred(text: str, start: int, end: int, *, expressions: bool = True) -> str:
    """`text` with asterisks from `start` to `end`, TOML's marks, and perhaps `{...}`, left as they are."""
    if not expressions:
        for kept in reversed(list(_EXPRESSION.finditer(text, start, end))):
            text = starred(text, kept.end(), end)
            end = kept.start()
    return text[:start] + re.sub(r"[^\s=\"'{}\[\],]", "*", text[start:end]) + text[end:]


def _unsafe_after(line: str) -> int:
    """Where a word like `secret` ends, perhaps with one slip in it, that no reference follows."""
    compact = "".join(filter(str.isalpha, line)).casefold()
    if _HALVES.search(compact) is None:
        return len(line)
    letters = [index for index, each in enumerate(line) if each.isalpha() for _ in each.casefold()]
    whole = not re.search("[\"']", _STRING.sub("", line))
    quoted = [match.span() for match in _STRING.finditer(line)] if whole else []
    for word, safe in _SPELT_OUT:
        for start, size in _spellings(compact, word):
            first, end = letters[start], letters[start + size - 1] + 1
            inside = any(low < first and end < high for low, high in quoted)
            if not inside and not (safe is not None and safe.match(line, end)):
                return end
    return len(line)


def _halves(word: str) -> tuple[tuple[str, int], tuple[str, int]]:
    """Each, and where it begins."""
    half = len(word) // 2
    return (word[:half], 0), (word[half:], half)


_HALVES: Final = re.compile("|".join(part for word, _ in _SPELT_OUT for part, _ in _halves(word)))


def _spellings(letters: str, word: str) -> Iterator[tuple[int, int]]:
    """Start and length of what may be `word` with at most one slip: then one half of it is whole."""
    starts: set[int] = set()
    for part, offset in _halves(word):
        for match in re.finditer(re.escape(part), letters):
            starts.update(match.start() - offset + each for each in (-1, 0, 1))
    for start in sorted(starts):
        for size in (len(word), len(word) - 1, len(word) + 1):
            piece = letters[start : start + size] if start >= 0 else ""
            if len(piece) == size and distance(piece, word) <= 1:
                yield start, size
                break


def printable(text: str, most: int = 60) -> str:
    """Text from the file, fit for one line of a terminal: no controls, and no longer than `most`."""
    clean = _clean(text)
    return clean if len(clean) <= most else clean[: most - 3] + "..."


def _clean(text: str) -> str:
    return "".join(each if each.isprintable() else "?" for each in text)


def character(mark: str) -> str:
    """One character from the file, in words where it cannot be seen."""
    if mark == " ":
        return "a blank"
    return mark if mark.isprintable() else f"a control character, {ord(mark):02X} hex"


def columns(text: str) -> int:
    """Terminal columns of printable text: 2 for wide characters (UAX #11), 0 for combining ones."""
    return sum(map(_columns, text))


def _columns(character: str) -> int:
    if unicodedata.combining(character) or unicodedata.category(character) in {"Mn", "Me", "Cf"}:
        return 0
    return 2 if unicodedata.east_asian_width(character) in {"W", "F"} else 1


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake. `line` and `column` count characters from 1, `length` counts the characters marked.

    `key` is the key's full name; `found`, `allowed` and `nearest` are for people, `nearest` may be "".
    """

    line: int
    column: int
    length: int
    key: str
    found: str
    allowed: str
    nearest: str = ""

    def render(self, text: str, filename: str) -> str:
        """The mistake with its line of `text`, a caret line under it, and what would be right."""
        lines = text.split("\n")
        source = lines[self.line - 1].rstrip("\r") if self.line <= len(lines) else ""
        source = "".join(each if each.isprintable() or each == "\t" else "\ufffd" for each in masked(source))
        before, marked = source[: self.column - 1], source[self.column - 1 : self.column - 1 + self.length]
        # A tab stays a tab, so that the carets stand right whatever the terminal's tab stops are.
        indent = "".join("\t" if each == "\t" else " " * _columns(each) for each in before)
        margin = max(5, len(str(self.line)) + 2)
        rendered = [
            f"{_clean(filename)}:{self.line}:{self.column}: {_clean(self.key)}",
            f"{self.line:>{margin}} | {source}",
            f"{'':{margin}} | {indent}{'^' * max(1, columns(marked))}",
            f"{'':{margin}}   found:   {_clean(self.found)}",
            f"{'':{margin}}   allowed: {_clean(self.allowed)}",
        ]
        if self.nearest:
            rendered.append(f"{'':{margin}}   nearest: {_clean(self.nearest)}")
        return "\n".join(rendered)


class TextFault(Exception):
    """Raised by what reads one text: a template, a URL. The reader of the file makes a Mistake of it.

    `start` counts characters from 0 into the text, `length` the characters that are wrong; `found`,
    `allowed` and `near` are as in a Mistake.
    """

    def __init__(self, found: str, start: int, length: int, allowed: str, near: str = "") -> None:
        super().__init__(found)
        self.found = found
        self.start = start
        self.length = length
        self.allowed = allowed
        self.near = near


class CatalogueFaults(Exception):
    """A catalogue that cannot be used, with every mistake in it, in the order of the file.

    It is no reply to a client, so it has no reply code. `text` is the file's, for `render`, starred where
    a secret may stand.
    """

    def __init__(self, mistakes: tuple[Mistake, ...], text: str, filename: str) -> None:
        count = len(mistakes)
        super().__init__(f"{count} mistake{'' if count == 1 else 's'} in {filename}")
        self.mistakes = mistakes
        self.text = text
        self.filename = filename

    def render(self) -> str:
        """All mistakes, a blank line between them."""
        return "\n\n".join(each.render(self.text, self.filename) for each in self.mistakes)
