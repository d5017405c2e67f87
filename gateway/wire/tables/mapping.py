"""a mapping file's text -> the 256 characters of its table, or every mistake in it.

The format is the Unicode Consortium's for its tables of mappings to and from other codes: a code and a code
point in hex, `0x41<TAB>0x0041`, the rest of the line a comment from a `#` on; a code without a code point is
undefined. Codes that are not in the file are undefined, too.
"""

import re
import unicodedata
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.wire.tables.charset import CODES, UNDEFINED, lacking

_LINE_END: Final = re.compile(r"\r\n|\r|\n")
_CODE: Final = re.compile(r"0[xX]([0-9A-Fa-f]+)")
_END_OF_FILE: Final = "\x1a"  # ends some of the published files, as disks once had it
_LINE: Final = "0x41 0x0041, a code and a code point, or 0x41 alone"
_BYTE: Final = "a code from 0x00 to 0xFF"
_NEEDED: Final = "blank, digits, letters of one case, ! * + - . / : = > ? and a quote, in 20-7E or 80-FF"
_POINT: Final = "one code point from 0x0000 to 0x10FFFF, no surrogate"


@dataclass(frozen=True, slots=True)
class MappingFault:
    """What is wrong with a mapping file. `line` counts from 1; 0: the table as a whole."""

    line: int
    found: str
    allowed: str


def read_mapping(text: str) -> tuple[str, tuple[MappingFault, ...]]:
    """The 256 characters (UNDEFINED for none), and what is wrong, in the file's order.

    The characters are only to be used where nothing is wrong. At most TABLE_FAULTS are told.
    """
    if len(text) > limits.TABLE_BYTES:
        return "", (MappingFault(0, "too long", f"at most {limits.TABLE_BYTES} bytes"),)
    characters, seen, faults = [UNDEFINED] * CODES, dict[int, int](), list[MappingFault]()
    for number, line in enumerate(_LINE_END.split(text.removeprefix("\ufeff")), 1):
        words = line.partition("#")[0].strip(f" \t{_END_OF_FILE}").split()
        if words:
            fault = _read_line(words, characters, seen, number)
            faults += [] if fault is None else [fault]
        if len(faults) == limits.TABLE_FAULTS:
            break
    table = "".join(characters)
    missing = lacking(table)
    if missing and not faults:
        faults.append(MappingFault(0, f"no code for {missing}", _NEEDED))
    return table, tuple(faults)


def _read_line(
    words: list[str], characters: list[str], seen: dict[int, int], number: int
) -> MappingFault | None:
    code = _CODE.fullmatch(words[0])
    if code is None or len(words) > 2:
        return MappingFault(number, " ".join(words), _LINE)
    byte = int(code[1][:9], 16)
    if byte >= CODES:
        return MappingFault(number, f"{words[0]}, which is no byte", _BYTE)
    if byte in seen:
        return MappingFault(number, f"{words[0]}, which line {seen[byte]} has", "each code once")
    seen[byte] = number
    if len(words) == 1:
        return None
    point = _CODE.fullmatch(words[1])
    value = int(point[1][:9], 16) if point is not None else -1
    if not 0 <= value <= 0x10FFFF or _is_no_character(value):
        return MappingFault(number, words[1], _POINT)
    characters[byte] = chr(value)
    return None


def _is_no_character(point: int) -> bool:
    """Surrogates and noncharacters (the Unicode Standard, section 23.7)."""
    noncharacter = point & 0xFFFE == 0xFFFE or 0xFDD0 <= point <= 0xFDEF
    return noncharacter or unicodedata.category(chr(point)) == "Cs"
