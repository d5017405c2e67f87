"""bytes <-> text in a session's charset, one byte a character (CONTRACT sections 1, 2 and 5).

A charset is named by a text: `ascii`, `latin1`, `caseswap`, an installed codec's name such as `koi8-r`, or,
for a table that a catalogue's profile has from a file, `table:NAME=` and its 256 characters. So settings
carry all that they need, and two versions of a table are two charsets. `shown_charset` is what a client sees.
"""

import codecs
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from adapters import limits
from adapters.errors import NotARequest
from gateway.wire.tables.charset import ASCII, Charset, lacking, lower_half, make_charset
from gateway.wire.tables.installed import installed_characters, installed_name

SEVEN_BITS: Final = bytes(byte & 0x7F for byte in range(256))
"""What `bytes.translate` strips bit 7 with."""

CASE_SWAP: Final = "caseswap"


def charset_name(word: str, tables: Mapping[str, str]) -> str:
    """The charset that a client or a catalogue names; `tables` are those of `Catalogue.tables`, by word.

    WrongWords where there is none, or it cannot be used. Nothing is read from disk by a client's word.
    """
    table = tables.get(word) or tables.get(word.lower())
    if table is not None:
        return table
    return CASE_SWAP if word.lower() == CASE_SWAP else installed_name(word)


def table_charset(profile: str, characters: str) -> str:
    """The charset of 256 characters that `profile` names."""
    return f"table:{profile.lower()}={characters}"


def shown_charset(charset: str) -> str:
    """The charset as a client sees it, and may type it."""
    return charset.partition("=")[0]


@lru_cache(maxsize=limits.CHARSETS)
def find_charset(charset: str) -> Charset:
    """What its bytes mean; LookupError where nothing is so named."""
    return make_charset(_characters(charset))


@lru_cache(maxsize=limits.CHARSETS)
def seven_bit_charset(charset: str) -> str:
    """What is left of a charset on a line of seven bits; LookupError where that is not enough to talk in."""
    characters = _characters(charset)
    half = lower_half(characters)
    if lacking(half):
        raise LookupError(charset)
    if half in {ASCII, characters}:
        return "ascii" if half == ASCII else charset
    return f"{shown_charset(charset)}={half}"


def _characters(charset: str) -> str:
    label, table, characters = charset.partition("=")
    if table:
        return characters
    return ASCII.swapcase() if label == CASE_SWAP else installed_characters(label)


def has(character: str, charset: str) -> bool:
    """Whether a reply may hold this one character."""
    return find_charset(charset).has(character)


def line_form(data: bytes, charset: str) -> bytes:
    """What was typed, each character that ASCII has by its ASCII code, so that words and marks are found."""
    return data.translate(find_charset(charset).line_form)


def decode_line(data: bytes, charset: str) -> str:
    """The text of a line in its line form, TAB read as a blank.

    NotARequest for other control bytes and for bytes that the charset does not have.
    """
    data = data.replace(b"\t", b" ")
    found = find_charset(charset)
    if not found.line_controls.isdisjoint(data):
        raise NotARequest("Control characters are not a request")
    try:
        return codecs.charmap_decode(data, "strict", found.line_characters)[0]
    except UnicodeDecodeError as error:
        byte = found.typed[data[error.start]]
        raise NotARequest(f"Byte {byte:02X} hex is not in the charset") from error


def encode_text(text: str, charset: str) -> bytes:
    """One byte for each character, never a control; what the charset lacks, as `Charset.written` has it."""
    return text.translate(find_charset(charset).written).encode("latin-1")
