"""I-Regexp (RFC 9485) -> a compiled pattern, or None where the text is not one.

The text is checked against the RFC's own grammar (section 4) and written again, character by character, for
the `regex` package, so nothing of that package's larger language can be reached. As the RFC's mappings for
other languages do (section 5), `.` is any character but LF and CR, and a bare `^` or `$` is an anchor: here
the beginning and the end of the whole text.

Repetition is written out by the package when it compiles (`(a{1000}){1000}` would fill the memory), so the
size of a pattern, written out, is limited first.
"""

from typing import Any, Final

import regex  # type: ignore[import-untyped]

from adapters import limits

_ESCAPED: Final = frozenset("()*+-.?[\\]^nrt{|}")  # SingleCharEsc
_CONTROLS: Final = {"n": "\n", "r": "\r", "t": "\t"}
_SPECIAL: Final = frozenset("()*+.?[\\]{|}")  # what NormalChar leaves out
# IsCategory: the general categories, but for surrogates, which no text has.
_CATEGORIES: Final = frozenset(
    f"{group}{kind}"
    for group, kinds in (
        ("L", ("", *"lmotu")),
        ("M", ("", *"cen")),
        ("N", ("", *"dlo")),
        ("P", ("", *"cdefios")),
        ("Z", ("", *"lps")),
        ("S", ("", *"ckmo")),
        ("C", ("", *"cfno")),
    )
    for kind in kinds
)


class TooComplex(Exception):
    """A pattern that is longer, larger when written out, or deeper than the limits allow."""


class _NotAPattern(Exception):
    """The text does not follow the grammar of RFC 9485."""


def translate(pattern: str) -> Any | None:
    """A pattern of the `regex` package that means the same; None where the text is no I-Regexp.

    Use its `fullmatch` for match() and its `search` for search(). Raises TooComplex.
    """
    if len(pattern) > limits.PATTERN_CHARACTERS:
        raise TooComplex
    try:
        return regex.compile(_Translator(pattern).whole(), regex.VERSION0, cache_pattern=False)
    except _NotAPattern:
        return None


class _Translator:
    """Recursive descent over one pattern; each rule gives its translation and how large that is."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._depth = 0

    def whole(self) -> str:
        translation, _ = self._alternatives()
        if self._at < len(self._text):
            raise _NotAPattern  # a closing parenthesis too many
        return translation

    def _peek(self) -> str:
        return self._text[self._at : self._at + 1]

    def _next(self) -> str:
        """The next character, stepped over."""
        character = self._peek()
        if not character or "\ud800" <= character <= "\udfff":
            raise _NotAPattern
        self._at += 1
        return character

    def _alternatives(self) -> tuple[str, int]:
        self._depth += 1
        if self._depth > limits.PATH_NESTING:
            raise TooComplex
        branches: list[str] = []
        size = 0
        while True:
            branch, more = self._branch()
            branches.append(branch)
            size += more + 1
            if self._peek() != "|":
                break
            self._at += 1
        self._depth -= 1
        return "|".join(branches), size

    def _branch(self) -> tuple[str, int]:
        pieces: list[str] = []
        size = 0
        while self._peek() not in {"", "|", ")"}:
            atom, atom_size = self._atom()
            quantifier, times = self._quantifier()
            pieces.append(atom + quantifier)
            size += atom_size * times
            if size > limits.PATTERN_SIZE:
                raise TooComplex
        return "".join(pieces), size

    def _atom(self) -> tuple[str, int]:
        character = self._next()
        if character == "(":
            inner, size = self._alternatives()
            self._next()  # the closing one; _NotAPattern where the text ends
            return f"(?:{inner})", size
        if character == ".":
            return r"[^\n\r]", 1
        if character == "\\":
            return self._category_escape() or _written(self._single_escape()), 1
        if character == "[":
            return self._class(), 1
        if character == "^":
            return r"(?:\A)", 1
        if character == "$":
            return r"(?:\Z)", 1
        if character in _SPECIAL:
            raise _NotAPattern
        return _written(character), 1

    def _quantifier(self) -> tuple[str, int]:
        """What may follow an atom, and how often the atom is then written out."""
        character = self._peek()
        if character and character in "*+?":
            self._at += 1
            return character, 1
        if character != "{":
            return "", 1
        self._at += 1
        least = self._count()
        most: int | None = least
        if self._peek() == ",":
            self._at += 1
            most = None if self._peek() == "}" else self._count()
        if self._next() != "}" or (most is not None and most < least):
            raise _NotAPattern
        return f"{{{least},{'' if most is None else most}}}", max(least, most or 0, 1)

    def _count(self) -> int:
        start = self._at
        while "0" <= self._peek() <= "9":
            self._at += 1
        digits = self._text[start : self._at]
        if not digits:
            raise _NotAPattern
        if len(digits.lstrip("0")) > len(str(limits.PATTERN_SIZE)):
            raise TooComplex
        return int(digits)

    def _category_escape(self) -> str | None:
        """\\p{...} or \\P{...}, after its backslash."""
        letter = self._peek()
        if letter not in {"p", "P"}:
            return None
        end = self._text.find("}", self._at)
        category = self._text[self._at + 2 : end]
        if end < 0 or self._text[self._at + 1 : self._at + 2] != "{" or category not in _CATEGORIES:
            raise _NotAPattern
        self._at = end + 1
        return f"\\{letter}{{{category}}}"

    def _single_escape(self) -> str:
        letter = self._next()
        if letter not in _ESCAPED:
            raise _NotAPattern
        return _CONTROLS.get(letter, letter)

    def _class(self) -> str:
        """A charClassExpr, after its opening bracket."""
        pieces = ["["]
        if self._peek() == "^":
            self._at += 1
            pieces.append("^")
        if self._peek() == "-":
            self._at += 1
            pieces.append(_written("-"))
        elif self._peek() == "]":
            raise _NotAPattern
        while self._peek() != "]":
            if self._peek() == "-":
                self._at += 1
                if self._peek() != "]":
                    raise _NotAPattern  # a hyphen stands first, last or in a range
                pieces.append(_written("-"))
            else:
                pieces.append(self._class_item())
        self._at += 1
        return "".join(pieces) + "]"

    def _class_item(self) -> str:
        """One character, a range or a category of a class (CCE1)."""
        if self._peek() == "\\":
            self._at += 1
            category = self._category_escape()
            if category is not None:
                return category
            first = self._single_escape()
        else:
            first = self._class_character()
        if self._peek() != "-" or self._text[self._at + 1 : self._at + 2] == "]":
            return _written(first)
        self._at += 1
        if self._peek() == "\\":
            self._at += 1
            last = self._single_escape()
        else:
            last = self._class_character()
        if last < first:
            raise _NotAPattern
        return f"{_written(first)}-{_written(last)}"

    def _class_character(self) -> str:
        character = self._next()
        if character in {"-", "[", "]", "\\"}:
            raise _NotAPattern
        return character


def _written(character: str) -> str:
    """The character so that it means itself wherever it stands."""
    if character.isascii() and character.isalnum():
        return character
    return f"\\U{ord(character):08X}"
