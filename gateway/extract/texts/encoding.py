"""bytes -> str: the characters of a document that is to be read, whatever it says of its encoding.

What the server or the document names goes first, then UTF-8 (`markup/decode.py`, which knows byte order
marks and labels). Only where neither helps is the encoding guessed, from `limits.DETECT_BYTES` beginning
where the text first leaves ASCII:

- charset-normalizer tells scripts apart (Cyrillic, Greek, Hebrew, Chinese, Japanese, Korean), among the
  encodings that plain text is found in. Its word counts where most bytes beyond ASCII stand in runs, as the
  letters of such scripts do.
- Western and Central European single-byte encodings it confuses (of 26 short windows-1252 texts it got 6
  right), so that those are told apart here by how the letters stand in words. A frame of line-drawing
  characters settles that a text is from DOS.

Nothing raises for bytes that do not fit; what is no text at all is refused by `text_of`. What goes over a
whole document does so in pieces, since a thread keeps all others waiting for as long as one call takes.
"""

import codecs
import re
from typing import TYPE_CHECKING, Final

from adapters import limits
from adapters.errors import TooLarge, WrongDocument
from gateway.extract.markup.decode import codec_of, decode, decoded_pieces

if TYPE_CHECKING:
    from charset_normalizer import CharsetMatches

_SCRIPTS: Final = (
    *("cp1251", "koi8_r", "koi8_u", "cp866", "iso8859_5", "cp1253", "iso8859_7", "cp1255", "cp1256"),
    *("cp932", "euc_jp", "gb18030", "big5hkscs", "cp949", "cp874"),
)
_LATIN: Final = ("cp1252", "cp1250", "cp437", "cp850", "cp852", "mac_roman", "iso8859_2")
_DOS_LATIN: Final = ("cp437", "cp850", "cp852")
_FRAME: Final = re.compile(rb"\xc4{3}|\xcd{3}|[\xb0-\xb2]{3}|\xdb{3}")  # in every DOS code page named here
_BEYOND: Final = re.compile(rb"[\x80-\xff]+")

# Lower-case letters by how often they are met: of many languages, of some, of Central Europe's.
_OFTEN: Final = frozenset("àáâäåæçèéêëíñóôöøùúüß")
_SOMETIMES: Final = frozenset("ãìîïòõûýÿœąćčďęěłńňřśšťůźżžőű")
_IMPOSSIBLE: Final = frozenset(("\ufffd", *map(chr, range(0x80, 0xA0))))
_IN_WORDS: Final = frozenset("’'-·")

_LEAD_BYTES: Final = 64

_PADDING: Final = "\x1a\0"
_NUL_CHARACTERS: Final = 8_000
_TEXT_CONTROLS: Final = frozenset("\t\n\v\f\r\b\x1b\x0e\x0f")
_CONTROL_SHARE: Final = 20  # one in so many characters makes a document binary ...
_CONTROLS: Final = 8  # ... unless there are no more than these


def text_of(body: bytes, label: str | None) -> str:
    """The characters of a document, without a byte order mark and what CP/M and DOS pad a text's end with.

    `label`: the encoding that was named for it, if any. Raises WrongDocument for what is plainly not text: a
    NUL near its beginning (common practice), or many control characters among others; TooLarge beyond
    `limits.TEXT_BYTES`.
    """
    if len(body) > limits.TEXT_BYTES:
        raise TooLarge("Too large to show as text")
    if codec_of(label) is None and not _is_utf8(body):
        label = detected(body)
    text = _unpadded(_leniently(body, label))
    head = text[: limits.DETECT_BYTES]
    controls = sum(head.count(chr(code)) for code in range(32) if chr(code) not in _TEXT_CONTROLS)
    if "\0" in text[:_NUL_CHARACTERS] or (controls > _CONTROLS and controls * _CONTROL_SHARE > len(head)):
        raise WrongDocument("Not a text; READ shows its bytes")
    return text


def detected(body: bytes) -> str | None:
    """The encoding that bytes beyond ASCII look like; None where there are none, or nothing is likely."""
    head = _telling_part(body)
    runs = _BEYOND.findall(head)
    beyond = sum(map(len, runs))
    if not beyond or b"\0" in head:
        return None
    framed = _FRAME.search(head) is not None
    in_runs = sum(len(run) for run in runs if len(run) > 1)
    if in_runs * 2 > beyond:
        likely = _matches(head, ["cp866", *_DOS_LATIN] if framed else [*_SCRIPTS, *_LATIN])
        best = likely.best()
        if best is not None and best.encoding in _SCRIPTS:
            return best.encoding
    candidates = _DOS_LATIN if framed else _LATIN
    found = max(candidates, key=lambda codec: _likeness(head.decode(codec, "replace")))  # the first of equals
    return "cp1250" if found == "cp1252" and _is_central(head) else found


def _telling_part(body: bytes) -> bytes:
    """From shortly before the first byte beyond ASCII, to a line's end where there is one."""
    start = max(0, _first_beyond(body) - _LEAD_BYTES)
    part = body[start : start + limits.DETECT_BYTES]
    if len(part) == limits.DETECT_BYTES and b"\n" in part:
        part = part[: part.rindex(b"\n") + 1]  # not within a character
    return part


def _first_beyond(body: bytes) -> int:
    """Where the first byte beyond ASCII stands; 0 where there is none."""
    for start in range(0, len(body), limits.DECODE_BYTES):
        found = _BEYOND.search(body, start, start + limits.DECODE_BYTES)
        if found:
            return found.start()
    return 0


def _matches(head: bytes, among: list[str]) -> "CharsetMatches":
    from charset_normalizer import from_bytes  # noqa: PLC0415 - megabytes that few documents need

    return from_bytes(head, cp_isolation=among)


def _is_central(head: bytes) -> bool:
    """Whether the library, asked for one of the two, takes cp1250 for possible and cp1252 for not."""
    matches = _matches(head, ["cp1250", "cp1252"])
    possible = {name for match in matches for name in match.could_be_from_charset}
    return "cp1250" in possible and "cp1252" not in possible


def _likeness(text: str) -> int:
    """How much a text looks like words of European languages, by its characters beyond ASCII."""
    total = 0
    for place, character in enumerate(text):
        if character.isascii():
            continue
        before, after = text[place - 1 : place], text[place + 1 : place + 2]
        inside = before.isalpha() and after.isalpha()
        if character in _OFTEN or character in _SOMETIMES:
            if (before.isalpha() or after.isalpha()) and not before.isdigit():
                total += 3 if character in _OFTEN else 1
        elif character.isupper() and character.isalpha():
            # A capital behind a small letter is none.
            total += -3 if before.islower() else int(character.lower() in _OFTEN and after.isalpha())
        elif character.isalpha() or character in _IMPOSSIBLE or (inside and character not in _IN_WORDS):
            total -= 3
        elif character in "‘’“”–—…•€£§°«»„¡¿©":
            total += 2
    return total


def _unpadded(text: str) -> str:
    end = len(text)
    while end:
        start = max(0, end - limits.DECODE_BYTES)
        kept = len(text[start:end].rstrip(_PADDING))
        end = start + kept
        if kept:
            break
    return text[:end]


def _leniently(body: bytes, label: str | None) -> str:
    try:
        return decode(body, (label,))
    except WrongDocument:  # it contradicts its byte order mark, or its NULs look like UTF-16 and are not
        if body.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
            return "".join(decoded_pieces(body, "utf-32", "replace"))
        if body.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "".join(decoded_pieces(body, "utf-16", "replace"))
        return "".join(decoded_pieces(body, "utf-8-sig", "replace"))


def _is_utf8(body: bytes) -> bool:
    try:
        for _ in decoded_pieces(body, "utf-8"):
            pass
    except UnicodeDecodeError:
        return False
    return True
