"""bytes <-> text in a session's charset; printable characters only (CONTRACT sections 1, 2 and 5)."""

import codecs
from functools import cache
from typing import Final

from adapters.errors import NotARequest

SEVEN_BITS: Final = bytes(byte & 0x7F for byte in range(256))
"""What `bytes.translate` strips bit 7 with."""

CODECS: Final = {"ascii": "ascii", "latin1": "iso8859-1", "cp437": "cp437"}
"""Setting `charset` -> the installed codec that has its table."""


@cache
def _unprintable(charset: str) -> frozenset[int]:
    """Bytes of a charset that are no printable character: C0, DEL, and what its table calls a control."""
    controls = set(range(0x20)) | {0x7F}
    if charset == "latin1":
        controls |= set(range(0x80, 0xA0))
    return frozenset(controls)


def decode_line(data: bytes, charset: str) -> str:
    """A line's text, TAB read as a blank.

    NotARequest for other control bytes and for bytes that the charset does not have.
    """
    data = data.replace(b"\t", b" ")
    if not _unprintable(charset).isdisjoint(data):
        raise NotARequest("Control characters are not a request")
    try:
        return codecs.decode(data, CODECS[charset])
    except UnicodeDecodeError as error:
        raise NotARequest(f"Byte {data[error.start]:02X} hex is not in the charset") from error


def encode_text(text: str, charset: str) -> bytes:
    """The bytes of printable text; what the charset lacks, which the layout has left none of, is `?`."""
    return text.encode(CODECS[charset], "replace")
