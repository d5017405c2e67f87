"""Charsets both ways: ISO 646, ISO 8859-1 and code page 437, against the installed codecs."""

import pytest

from adapters.errors import NotARequest
from gateway.wire.charsets import decode_line, encode_text


def printable(charset: str) -> set[int]:
    """Bytes that a line may hold: ISO 646 section 6.3 and ISO 8859-1 leave C0, DEL and C1 to controls."""
    if charset == "ascii":
        return set(range(0x20, 0x7F))
    if charset == "latin1":
        return set(range(0x20, 0x7F)) | set(range(0xA0, 0x100))
    return set(range(0x20, 0x7F)) | set(range(0x80, 0x100))


@pytest.mark.parametrize(
    ("charset", "codec"), [("ascii", "ascii"), ("latin1", "iso8859-1"), ("cp437", "cp437")]
)
def test_every_byte_is_a_character_or_not_a_request(charset: str, codec: str) -> None:
    for byte in range(256):
        data = bytes((byte,))
        if byte == 9:
            assert decode_line(data, charset) == " "
        elif byte in printable(charset):
            assert decode_line(data, charset) == data.decode(codec)
            assert encode_text(data.decode(codec), charset) == data
        else:
            with pytest.raises(NotARequest):
                decode_line(data, charset)


def test_what_a_charset_lacks_is_a_question_mark() -> None:
    assert encode_text("a\u20ac", "latin1") == b"a?"
