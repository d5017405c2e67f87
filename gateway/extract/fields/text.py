"""any text -> printable text of a charset, on one line, then cut, then padded.

The order is the point (CONTRACT section 4 "Values"): Unicode NFC, the catalogue's own letters, short forms
for what the general table makes long, that table, control characters and separators to blanks, a run of
blanks to one, trim. Only then is anything measured, because one character can become six, or none.

What no standard settles, and is settled here:

- Controls, line separators and every kind of blank become a blank before any table sees them, so none is lost
  between two words and none comes out of a table as a line end.
- What a charset has is kept as it is, whatever own spelling the catalogue has for it; the own spellings
  and the general table (anyascii) are for the rest. What a charset has is said in `gateway.wire.tables`: C1
  controls and the soft hyphen never pass, combining marks do where they have a code.
- A mark that a charset lacks vanishes where it has letters of that script (Hebrew points in ISO 8859-8).
- A letter with several marks is written as one with fewer and the marks that have a code (Vietnamese in
  cp1258), as Unicode's canonical decomposition takes it apart. In a charset of one case, a letter that it has
  in that case only is written so.
- Right-to-left text stays in the order in which it is read, and its columns are counted in that order.
- All of ASCII is kept here: what of it a charset lacks is written one for one when a reply is sent.
- A degree sign before C or F goes ("21 C"), any other becomes `deg`: an `o` would read as a nought.
- A symbol for which the table has more than four characters, such as an emoji, becomes `?`, and takes the
  skin tone, the variation selector and the joined emoji after it along. Letters and numbers stay up to six
  characters (`Zhuang`), since a name full of `?` says nothing.
- Marks and format characters that the table has nothing for vanish; private, unassigned and lone surrogate
  code points and letters beyond the table become `?`.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Final

from anyascii import anyascii

from adapters import limits
from gateway.extract.plan import Align, Cut
from gateway.wire.charsets import find_charset
from gateway.wire.tables.charset import Charset

UNKNOWN: Final = "?"
_SYMBOL_CHARACTERS: Final = 4
_LETTER_CHARACTERS: Final = 6

_SHORT_FORMS: Final = {
    "↔": "<->",
    "↖": "\\",
    "↗": "/",
    "↘": "\\",
    "↙": "/",
    "〰": "~",
    "₼": "AZN",
    "﷼": "IRR",
    "♥": "<3",
    "❤": "<3",
}

_FIRST_TAG: Final = "\U000e0000"

# Unicode TR 51 (emoji sequences): a base, then selectors, skin tones or keycaps, then more joined by U+200D.
_EMOJI = "\u00a9\u00ae\u203c\u2049\u2100-\u2bff\u3030\u303d\u3297\u3299\U0001f000-\U0001faff"
_EMOJI_SEQUENCE: Final = re.compile(
    f"([{_EMOJI}])(?:[\ufe0e\ufe0f\u20e3\U0001f3fb-\U0001f3ff]|\u200d[{_EMOJI}])+"
)
_DEGREES: Final = re.compile("°(?=[CF](?![A-Za-z]))")


class Lettering:
    """How one charset writes any text: `clean` gives printable characters on one line.

    `charset` is one of `gateway.wire.charsets` (LookupError for an unknown one); `letters` are the
    catalogue's own spellings, each a text of one or more characters and what is written for it.
    """

    __slots__ = ("_degrees", "_letters", "_marks", "_spellings", "_table", "_touches_ascii")

    def __init__(self, charset: str = "ascii", letters: Mapping[str, str] | None = None) -> None:
        known = find_charset(charset)
        composed = ((unicodedata.normalize("NFC", key), word) for key, word in (letters or {}).items() if key)
        spellings = {key: word for key, word in composed if key.isascii() or not all(map(known.has, key))}
        longest_first = sorted(spellings, key=len, reverse=True)
        self._spellings = spellings
        self._letters = re.compile("|".join(map(re.escape, longest_first))) if spellings else None
        self._touches_ascii = any(key.isascii() for key in spellings)
        self._table = _table(charset)
        self._degrees = self._table[ord("°")] != "°"
        self._marks = any(unicodedata.combining(chr(point)) for point in known.sent)

    def clean(self, text: str) -> str:
        """`text` as one line of printable characters without double, leading or trailing blanks."""
        if text.isascii() and text.isprintable() and not self._touches_ascii:
            if "  " not in text and text[:1] != " " and text[-1:] != " ":
                return text
            return " ".join(text.split())
        return " ".join(self.spell(text).split())

    def spell(self, text: str) -> str:
        """`text` as one line of printable characters, with all its blanks: columns stay columns.

        A very long one is spelled in stretches, which all other threads need not wait for; an own spelling
        that holds a blank may be missed where they meet.
        """
        if len(text) > limits.SPELL_CHARACTERS:
            return "".join([self.spell(each) for each in _stretches(text)])
        ascii_only = text.isascii()
        if ascii_only and not self._touches_ascii:
            return text if text.isprintable() else text.translate(self._table)
        if not ascii_only:
            text = unicodedata.normalize("NFC", text)
        if self._letters is not None:
            text = self._letters.sub(self._spelt, text)
        if not text.isascii():
            text = _EMOJI_SEQUENCE.sub(r"\1", text)
            if self._degrees:
                text = _DEGREES.sub("", text)
        text = text.translate(self._table)
        if self._marks and not text.isascii():  # a letter out of the table may take the mark behind it
            text = unicodedata.normalize("NFC", text).translate(self._table)
        return text

    def _spelt(self, match: re.Match[str]) -> str:
        return self._spellings[match.group()]


def _stretches(text: str) -> Iterator[str]:
    """`text` in parts of at most SPELL_CHARACTERS that are spelled alike alone: broken before a blank.

    Where no blank is in reach, before a character that does not compose with what is before it.
    """
    start, most = 0, limits.SPELL_CHARACTERS
    while len(text) - start > most:
        end = start + most
        nearest = end - most // 2
        blank = text.rfind(" ", nearest, end)
        if blank > 0:
            end = blank
        else:
            end = next((each for each in range(end, nearest, -1) if _stands_apart(text, each)), end)
        yield text[start:end]
        start = end
    yield text[start:]


def _stands_apart(text: str, place: int) -> bool:
    """Whether the character at `place` is spelled without regard to those before it."""
    before, character = text[place - 1], text[place]
    jamo = "\u1100" <= character <= "\u11ff"  # of which Hangul syllables are composed
    composes = jamo or (not character.isascii() and unicodedata.category(character)[0] not in "LNP")
    return before != "°" and not composes


class _Table(dict[int, str]):
    """Code point -> printable text, made when first asked for (`str.translate` asks)."""

    __slots__ = ("_charset",)

    def __init__(self, charset: Charset) -> None:
        super().__init__()
        self._charset = charset

    def __missing__(self, code: int) -> str:
        written = _written(chr(code), self._charset)
        if len(self) < limits.SPELLINGS:
            self[code] = written
        return written


@lru_cache(maxsize=8)
def _table(charset: str) -> _Table:
    return _Table(find_charset(charset))


def _written(character: str, charset: Charset) -> str:
    """What stands for one character, whatever stands beside it: printable, or nothing."""
    category = unicodedata.category(character)
    if category in {"Cc", "Zl", "Zp", "Zs"}:
        return " "
    if character.isascii() or charset.has(character):
        return character
    if category[0] == "M" and _script(character) in _scripts(charset):
        return ""  # a vowel sign in Latin letters would stand among the script's own
    own = _in_other_case(character, charset) or _in_parts(character, charset)
    if own:
        return own
    if category == "Cf" and character >= _FIRST_TAG:
        return ""  # a tag: invisible, though the table would spell it
    if character in _SHORT_FORMS:
        return _SHORT_FORMS[character]
    written = "".join(each if each.isprintable() else " " for each in anyascii(character))
    if not written:
        beyond_the_table = category[0] == "L" and ord(character) > 0xFFFF
        visible = category[0] in "NPS" or category in {"Co", "Cn", "Cs"}
        return UNKNOWN if beyond_the_table or visible else ""
    if category[0] == "M":
        return written if len(written) <= _SYMBOL_CHARACTERS else ""
    most = _LETTER_CHARACTERS if category[0] in "LN" else _SYMBOL_CHARACTERS
    return written if len(written) <= most else UNKNOWN


def _script(character: str) -> str:
    """The first word of its name, which for letters and their marks is mostly that of their script."""
    return unicodedata.name(character, "").partition(" ")[0]


@lru_cache(maxsize=8)
def _scripts(charset: Charset) -> frozenset[str]:
    letters = (chr(point) for point in charset.sent if chr(point).isalpha())
    return frozenset(map(_script, letters)) - {""}


def _in_other_case(character: str, charset: Charset) -> str:
    """The letter in the one case that the charset has; empty where there is no such thing."""
    other = character.swapcase() if charset.one_case else ""
    return other if len(other) == 1 and charset.has(other) else ""


def _in_parts(character: str, charset: Charset) -> str:
    """A letter that the charset lacks, without those of its marks that have codes, then these marks."""
    whole = unicodedata.normalize("NFD", character)
    base, marks = whole[0], whole[1:]
    coded = [each for each in marks if unicodedata.combining(each) and charset.has(each)]
    if not coded:
        return ""
    rest = unicodedata.normalize("NFC", base + "".join(each for each in marks if each not in coded))
    return "".join(each if charset.has(each) else _written(each, charset) for each in rest) + "".join(coded)


def cut(text: str, width: int, how: Cut = Cut.END) -> str:
    """At most `width` characters of clean text, from the end that `how` keeps; no blanks at its edges."""
    if len(text) <= width:
        return text
    if how is Cut.START:
        return text[len(text) - width :].lstrip()
    if how is Cut.WORD:
        end = text.rfind(" ", 0, width + 1)
        if end > 0:
            return text[:end]
    return text[:width].rstrip()


def place(text: str, width: int, align: Align = Align.LEFT, fill: str = " ") -> str:
    """`text`, at most `width` long, padded with the one character `fill`. Centred: the odd one goes right."""
    if align is Align.LEFT:
        return text.ljust(width, fill)
    if align is Align.RIGHT:
        return text.rjust(width, fill)
    spare = width - len(text)
    return fill * (spare // 2) + text + fill * (spare - spare // 2)
