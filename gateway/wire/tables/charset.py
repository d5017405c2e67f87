"""256 characters -> Charset: what each byte means on a line, and what a reply writes with it.

What no standard settles, and is settled here:

- The bytes 00h-1Fh and 7Fh are the line's own (ends, rubbing out, CAN, flow), whatever a table has there.
- A code whose character is a control (Unicode category Cc), such as those of ISO 8859 at 80h-9Fh, is one.
- Line separators, format characters (soft hyphen, direction marks) and blanks that are not the blank can be
  typed, but are never sent. Combining marks are characters like others: one code, one column.
- A table may lack most of ASCII, but not what the protocol is made of: see `lacking`. What ASCII has and it
  lacks is written one for one: a letter in its other case, a sign by one that looks like it, else `?`.
"""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

UNDEFINED: Final = "\ufffe"
"""Stands where a code has no character, as in Python's own tables."""

CODES: Final = 256
ASCII: Final = "".join(map(chr, range(0x80))) + UNDEFINED * 0x80
"""ISO 646, international reference version."""

_LINE_CONTROLS: Final = frozenset(range(0x20)) | {0x7F}
_NEEDED: Final = " !*+-./0123456789:=>?"  # all in what the national versions of ISO 646 have in common
_PRINTABLE_ASCII: Final = tuple(map(chr, range(0x20, 0x7F)))
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_NEVER_SENT: Final = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp", "Zs"})
_LOOK_ALIKES: Final[Mapping[str, str]] = MappingProxyType(
    {
        '"': "'",
        "'": '"',
        "`": "'\"",
        "^": "'\"",
        ",": ";.",
        ";": ",.",
        "(": "[/",
        ")": "]/",
        "[": "(/",
        "]": ")/",
        "{": "([/",
        "}": ")]/",
        "<": "([/",
        "|": "!",
        "\\": "/",
        "_": "-",
        "~": "-",
        "&": "+",
    }
)


@dataclass(frozen=True, slots=True, eq=False)
class Charset:
    """One byte a character. `characters` are those of the 256 codes, or UNDEFINED.

    The *line form* of a byte is the code that ASCII has for its character; characters that ASCII lacks have
    the other codes, mostly their own. It is what lines are read in, so that their words and
    marks are found whatever the charset. `typed` gives a byte of it back as it was typed.

    `sent` has the characters that a reply may hold, by code point, and their bytes. `written` has all that
    and a byte for everything else.
    """

    characters: str
    line_form: bytes
    line_characters: str
    line_controls: frozenset[int]
    typed: bytes
    echoed: frozenset[int]
    sent: Mapping[int, int]
    written: dict[int, int]
    one_case: bool

    def has(self, character: str) -> bool:
        """Whether a reply may hold this one character."""
        return ord(character) in self.sent


class _Written(dict[int, int]):
    """Code point -> byte, for any code point (`str.translate` asks for those it does not hold)."""

    def __missing__(self, point: int) -> int:
        return self[ord(" " if unicodedata.category(chr(point))[0] == "Z" else "?")]


def make_charset(characters: str) -> Charset:
    """The charset of 256 characters that lack nothing of what `lacking` asks for."""
    forms = _line_forms(characters)
    line_characters, typed = [UNDEFINED] * CODES, [0] * CODES
    for code in reversed(range(CODES)):  # of two codes with one character, the first
        line_characters[forms[code]], typed[forms[code]] = characters[code], code
    controls = {code for code in range(CODES) if code in _LINE_CONTROLS or _is_control(characters[code])}
    for code in _LINE_CONTROLS:
        line_characters[code] = UNDEFINED
    sent: dict[int, int] = {}
    for code in range(CODES):
        if code not in _LINE_CONTROLS and _may_be_sent(characters[code]):
            sent.setdefault(ord(characters[code]), code)
    return Charset(
        characters=characters,
        line_form=bytes(forms),
        line_characters="".join(line_characters),
        line_controls=frozenset(forms[code] for code in controls),
        typed=bytes(typed),
        echoed=frozenset(
            code for code in range(CODES) if code not in controls and characters[code] != UNDEFINED
        ),
        sent=MappingProxyType(sent),
        written=_written(sent),
        one_case=any((ord(each) in sent) != (ord(each.lower()) in sent) for each in _LETTERS),
    )


def lacking(characters: str) -> str:
    """What the protocol needs and these 256 do not have, as words of a sentence; empty for nothing."""
    has = {characters[code] for code in range(CODES) if code not in _LINE_CONTROLS}
    missing = ["a blank" if each == " " else each for each in _NEEDED if each not in has]
    missing += [each for each in _LETTERS if each not in has and each.lower() not in has]
    if has.isdisjoint("'\""):
        missing.append("a quote")
    return " ".join(missing)


def lower_half(characters: str) -> str:
    """What is left of 256 characters where bit 7 is stripped."""
    return characters[:0x80] + UNDEFINED * 0x80


def _line_forms(characters: str) -> list[int]:
    """Each code's byte in the line form. A code without a character, or with a control, keeps one to itself.

    223 codes are no line controls, and as many bytes are there for them: all find one.
    """
    forms = list(range(CODES))
    taken: dict[str | int, int] = {}
    others: list[int] = []
    for code in range(CODES):
        if code in _LINE_CONTROLS:
            continue
        if characters[code] in _PRINTABLE_ASCII:
            forms[code] = taken[characters[code]] = ord(characters[code])
        else:
            others.append(code)
    left = [byte for byte in (*range(0x80, CODES), *range(0x20, 0x7F)) if byte not in set(taken.values())]
    for code in others:
        own = characters[code] == UNDEFINED or _is_control(characters[code])
        key: str | int = code if own else characters[code]
        if key not in taken:
            taken[key] = code if code in left else left[0]
            left.remove(taken[key])
        forms[code] = taken[key]
    return forms


def _written(sent: Mapping[int, int]) -> dict[int, int]:
    written = _Written(sent)
    for character in _PRINTABLE_ASCII:
        others = (character.swapcase(), *_LOOK_ALIKES.get(character, ""), "?")
        written.setdefault(ord(character), next(sent[ord(each)] for each in others if ord(each) in sent))
    return written


def _is_control(character: str) -> bool:
    return unicodedata.category(character) == "Cc"


def _may_be_sent(character: str) -> bool:
    return character == " " or (character != UNDEFINED and unicodedata.category(character) not in _NEVER_SENT)
