"""characters -> tokens: blanks, names, strings and numbers of a JSONPath query (RFC 9535 section 2)."""

import re
from typing import Final

from adapters.errors import PathFault
from gateway.extract.values import JsonNumber

_BLANKS: Final = re.compile(r"[ \t\n\r]*")
# member-name-shorthand (section 2.5.1.1): letters, `_` and whatever is not ASCII.
_NAME: Final = re.compile(r"[A-Za-z_\x80-\ud7ff\ue000-\U0010ffff][A-Za-z0-9_\x80-\ud7ff\ue000-\U0010ffff]*")
_INTEGER: Final = re.compile(r"-?[0-9]+")
_NUMBER: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?")
_WORD: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_HEX: Final = re.compile(r"[0-9A-Fa-f]{4}")
_ESCAPES: Final = {"b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t", "/": "/", "\\": "\\"}

# What I-JSON can tell apart (RFC 7493 section 2.2); RFC 9535 section 2.1 limits integers to it.
_INTEGER_MAX: Final = (1 << 53) - 1
_INTEGER_CHARACTERS: Final = 17  # of that, with its sign


class Scanner:
    """A place in a query's text, and the tokens from there on. Every fault is a PathFault."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    def fault(self, sentence: str, position: int | None = None) -> PathFault:
        """A fault here, or at `position`."""
        return PathFault(sentence, self.at if position is None else position)

    def peek(self, count: int = 1) -> str:
        """The next characters, fewer at the end."""
        return self.text[self.at : self.at + count]

    def ended(self) -> bool:
        """Whether nothing is left."""
        return self.at >= len(self.text)

    def take(self, token: str) -> bool:
        """Step over the token if it is next."""
        if not self.text.startswith(token, self.at):
            return False
        self.at += len(token)
        return True

    def blanks(self) -> None:
        """Step over blanks: space, TAB, LF and CR, and nothing else."""
        found = _BLANKS.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def name(self) -> str | None:
        """A name that needs no quotes, if one is next."""
        return self._match(_NAME)

    def word(self) -> str | None:
        """An ASCII word, such as true or a function's name, if one is next."""
        return self._match(_WORD)

    def integer(self) -> int | None:
        """An index or a part of a slice, if one is next."""
        start = self.at
        digits = self._match(_INTEGER)
        if digits is None:
            if self.peek() == "-":
                raise self.fault("A digit must follow -", start + 1)
            return None
        if digits.lstrip("-").startswith("0") and digits != "0":
            raise self.fault("No leading zeros or -0 here", start)
        if len(digits) > _INTEGER_CHARACTERS or abs(int(digits)) > _INTEGER_MAX:
            raise self.fault("That index is too large", start)
        return int(digits)

    def number(self) -> JsonNumber:
        """A number of a filter, as it is written; a digit or `-` is next."""
        start = self.at
        digits = self._match(_NUMBER)
        if digits is None:
            raise self.fault("A digit must follow -", start + 1)
        whole = digits.lstrip("-")
        if whole[0] == "0" and whole[1:2].isdecimal():
            raise self.fault("No leading zeros in numbers", start)
        if self.peek() == ".":
            raise self.fault("A digit must follow the point", self.at + 1)
        if self.peek() in {"e", "E"}:
            raise self.fault("A digit must follow the exponent's e", self.at + 1)
        return JsonNumber(digits)

    def string(self) -> str:
        """A string in single or double quotes (section 2.3.1.1); its quote is next."""
        start = self.at
        quote = self.text[start]
        self.at += 1
        pieces: list[str] = []
        while not self.ended():
            character = self.text[self.at]
            if character == quote:
                self.at += 1
                return "".join(pieces)
            if character == "\\":
                pieces.append(self._escape(quote))
                continue
            if character < " ":
                raise self.fault("Write control characters as \\u00hh")
            if "\ud800" <= character <= "\udfff":
                raise self.fault("Not a Unicode character")
            pieces.append(character)
            self.at += 1
        raise self.fault("The quote is never closed", start)

    def _escape(self, quote: str) -> str:
        start = self.at
        letter = self.text[start + 1 : start + 2]
        self.at += 2
        if letter == quote:
            return quote
        if letter in _ESCAPES:
            return _ESCAPES[letter]
        if letter != "u":
            raise self.fault("No such escape in a quoted name", start)
        unit = self._unit(start)
        if 0xDC00 <= unit <= 0xDFFF:
            raise self.fault("Half of a surrogate pair", start)
        if 0xD800 <= unit <= 0xDBFF:
            low = self._unit(start) if self.take("\\u") else 0
            if not 0xDC00 <= low <= 0xDFFF:
                raise self.fault("Half of a surrogate pair", start)
            return chr(0x10000 + ((unit - 0xD800) << 10) + (low - 0xDC00))
        return chr(unit)

    def _unit(self, start: int) -> int:
        """Four hexadecimal digits."""
        digits = self._match(_HEX)
        if digits is None:
            raise self.fault("Four hex digits must follow \\u", start)
        return int(digits, 16)

    def _match(self, pattern: re.Pattern[str]) -> str | None:
        found = pattern.match(self.text, self.at)
        if found is None:
            return None
        self.at = found.end()
        return found.group()
