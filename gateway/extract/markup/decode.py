"""bytes + declared charset labels -> str: XML, HTML and CSV share one way to find a document's encoding.

The order is: byte order mark; the pattern of NUL bytes that UTF-16 and UTF-32 show; then, if the bytes are
valid UTF-8 with characters beyond ASCII, UTF-8, whatever single-byte encoding was declared, since such bytes
are next to never anything else; then the declared labels, strongest first; then UTF-8; then the last resort.

Labels mean what the web means by them (WHATWG Encoding Standard section 4.2, from memory): iso-8859-1 and
ascii are windows-1252, gb2312 is gb18030, and so on. A label that nobody knows counts as absent.
"""

import codecs
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import lru_cache
from typing import Final

from adapters import limits
from adapters.errors import WrongDocument

# Longest first: UTF-32's mark begins with UTF-16's.
_MARKS: Final = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

# Python's canonical names that stand for a larger set in practice.
_MEANT: Final = {
    "ascii": "cp1252",
    "iso8859-1": "cp1252",
    "iso8859-9": "cp1254",
    "iso8859-11": "cp874",
    "tis-620": "cp874",
    "gb2312": "gb18030",
    "gbk": "gb18030",
    "big5": "big5hkscs",
    "euc_kr": "cp949",
    "shift_jis": "cp932",
}
_WIDE: Final = frozenset(("utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be"))
_MULTIPLE: Final = frozenset(
    ("gb18030", "big5hkscs", "cp949", "johab", "cp932", "euc_jp", "iso2022_jp", "euc_jisx0213")
)
_SINGLE: Final = frozenset(
    (
        *(f"cp{number}" for number in (*range(1250, 1259), 437, 737, 775, 874, *range(850, 870))),
        *(f"iso8859-{part}" for part in (*range(2, 9), 10, *range(13, 17))),
        *("koi8-r", "koi8-u", "kz1048", "hp-roman8"),
        *("mac-cyrillic", "mac-greek", "mac-latin2", "mac-roman", "mac-turkish"),
    )
)
_LABEL: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:+-]{0,39}")
_LOOK_BYTES: Final = 1_024  # how far the pattern of NUL bytes is looked for


def decode(body: bytes, labels: Sequence[str | None], strict: bool = False) -> str:
    """The characters of a document, without its byte order mark.

    `labels`: declared encodings, strongest first; None and unknown ones are passed over. Bytes that nothing
    else fits are read as windows-1252, or as UTF-8 with U+FFFD for the bad bytes where the good ones
    outnumber them; with `strict` (XML 1.0 section 4.3.3) they are a WrongDocument, unless only labels that
    nobody knows were declared. Bytes that contradict their byte order mark always are one.
    """
    for mark, marked in _MARKS:
        if body.startswith(mark):
            return _exactly(body[len(mark) :], marked)
    if wide := _wide_pattern(body):
        return _exactly(body, wide)
    declared = [codec for label in labels if (codec := codec_of(label)) is not None]
    multiple = bool(declared) and declared[0] in _MULTIPLE
    # Only iso-2022-jp hides other characters in ASCII bytes, and only behind an escape.
    if not multiple or (body.isascii() and b"\x1b" not in body):
        with suppress(UnicodeDecodeError):
            return _whole(body, "utf-8")
    for codec in declared:
        if codec in _SINGLE:
            return decode_bytewise(body, codec)
        # Without NUL bytes a label that says UTF-16 is wrong (HTML Standard, "determining the encoding").
        if codec not in _WIDE:
            with suppress(UnicodeDecodeError):
                return _whole(body, codec)
    with suppress(UnicodeDecodeError):
        return _whole(body, "utf-8")
    if strict and (declared or not any(labels)):
        raise WrongDocument("Not valid in its own encoding")
    return _mostly_utf8(body) or decode_bytewise(body, "cp1252")


def decoded_pieces(body: bytes, codec: str, errors: str = "strict") -> Iterator[str]:
    """What `body.decode(codec, errors)` gives, in pieces: all other threads wait for one call over megabytes.

    Raises UnicodeDecodeError at the piece that does not fit. `utf-16` and `utf-32` need a byte order mark.
    """
    if len(body) <= limits.DECODE_BYTES:
        yield body.decode(codec, errors)
        return
    decoder = codecs.getincrementaldecoder(codec)(errors)
    for start in range(0, len(body), limits.DECODE_BYTES):
        yield decoder.decode(body[start : start + limits.DECODE_BYTES])
    yield decoder.decode(b"", True)


def _whole(body: bytes, codec: str) -> str:
    return "".join(decoded_pieces(body, codec))


@lru_cache(maxsize=256)
def codec_of(label: str | None) -> str | None:
    """The codec that a label means, or None where it names no encoding that documents are written in."""
    name = (label or "").strip(" \t\r\n\"'").lower()
    for candidate in (name, name.removeprefix("x-"), name.removeprefix("unicode-1-1-")):
        if not _LABEL.fullmatch(candidate):
            continue
        try:
            name_in_python = codecs.lookup(candidate).name
        except (LookupError, ValueError):
            continue
        found = _MEANT.get(name_in_python, name_in_python)
        if found == "utf-8" or found in _SINGLE or found in _MULTIPLE or found in _WIDE:
            return found
    return None


def decode_bytewise(body: bytes, codec: str) -> str:
    """The characters of a single-byte codec; a byte it lacks is a C1 control, or U+FFFD beyond those."""
    try:
        return _whole(body, codec)
    except UnicodeDecodeError:
        table = _whole_table(codec)
        return "".join([each.translate(table) for each in decoded_pieces(body, "latin-1")])


@lru_cache(maxsize=8)
def _whole_table(codec: str) -> dict[int, str]:
    table: dict[int, str] = {}
    for byte in range(0x80, 0x100):
        try:
            table[byte] = bytes((byte,)).decode(codec)
        except UnicodeDecodeError:
            table[byte] = chr(byte) if byte < 0xA0 else "\ufffd"
    return table


def _wide_pattern(body: bytes) -> str | None:
    """UTF-16 or UTF-32 without a mark, told by the NULs around ASCII (XML 1.0 appendix F)."""
    head = body[:_LOOK_BYTES]
    nulls = head.count(0)
    if not nulls or len(body) % 2:
        return None
    markup = b"<" in head[:2]
    if len(body) % 4 == 0 and nulls * 2 > len(head):
        return "utf-32-be" if head[0] == 0 else "utf-32-le"
    if not (markup or nulls * 4 >= len(head)) or (head[0] == 0) == (head[1] == 0):
        return None
    return "utf-16-be" if head[0] == 0 else "utf-16-le"


def _mostly_utf8(body: bytes) -> str | None:
    """UTF-8 with U+FFFD for the bad bytes, where good characters beyond ASCII outnumber them."""
    pieces = list(decoded_pieces(body, "utf-8", "replace"))
    text = "".join(pieces)
    bad = text.count("\ufffd")
    beyond_ascii = len(text) - sum(len(each.encode("ascii", errors="ignore")) for each in pieces)
    return text if beyond_ascii > 2 * bad else None


def _exactly(body: bytes, codec: str) -> str:
    try:
        return _whole(body, codec)
    except UnicodeDecodeError as fault:
        raise WrongDocument(f"Not valid {codec[:6].rstrip('-').upper()}") from fault
