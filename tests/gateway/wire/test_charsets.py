"""Charsets both ways: against the installed codecs, and what no codec says (caseswap, table files, bits)."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import NotARequest, WrongWords
from gateway.wire.charsets import (
    charset_name,
    decode_line,
    encode_text,
    find_charset,
    has,
    line_form,
    seven_bit_charset,
    shown_charset,
    table_charset,
)
from gateway.wire.tables.charset import ASCII, UNDEFINED
from gateway.wire.tables.installed import installed_names

LINE_CONTROLS = {*range(0x20), 0x7F}
CAPITALS = "".join(
    each if code < 0x60 else UNDEFINED for code, each in enumerate(ASCII)
)  # a machine of 64 characters, as ISO 646 has them at 20h-5Fh
NAMES = [*installed_names(), "caseswap", table_charset("caps", CAPITALS)]
IDS = [shown_charset(name) for name in NAMES]


def read(data: bytes, charset: str) -> str:
    """What a line of `data` says."""
    return decode_line(line_form(data, charset), charset)


def decoded(byte: int, codec: str) -> str | None:
    """What Python's own codec makes of one byte."""
    try:
        return bytes((byte,)).decode(codec)
    except UnicodeDecodeError:
        return None


def _codes(character: str, codec: str) -> int:
    return [decoded(byte, codec) for byte in range(256)].count(character)


@pytest.mark.parametrize("charset", installed_names())
def test_every_byte_is_the_codecs_character_or_not_a_request(charset: str) -> None:
    for byte in range(256):
        data, character = bytes((byte,)), decoded(byte, charset)
        if byte == 9:
            assert read(data, charset) == " "
        elif byte in LINE_CONTROLS or character is None or unicodedata.category(character) == "Cc":
            with pytest.raises(NotARequest):
                read(data, charset)
        else:
            assert read(data, charset) == character


@pytest.mark.parametrize("charset", installed_names())
def test_every_printable_character_of_the_codec_is_written_as_the_codec_writes_it(charset: str) -> None:
    """Printable is what Python's `str.isprintable` says, and the private use area."""
    for byte in set(range(256)) - LINE_CONTROLS:
        character = decoded(byte, charset)
        if character and (character.isprintable() or unicodedata.category(character) == "Co"):
            written = encode_text(character, charset)
            assert has(character, charset)
            assert written.decode(charset) == character
            assert written == character.encode(charset) or _codes(character, charset) > 1
        elif character:
            assert not has(character, charset)


def test_of_two_codes_for_one_character_the_first_is_written() -> None:
    """Python's encoder takes the last. MacArabic has the ASCII signs once more from A0h on, right to left."""
    assert encode_text("!", "mac-arabic") == b"!"
    assert "!".encode("mac-arabic") == b"\xa1"
    assert read(b"!\xa1", "mac-arabic") == "!!"


@pytest.mark.parametrize("charset", NAMES, ids=IDS)
@given(text=st.text(max_size=60))
def test_whatever_the_text_it_is_one_byte_a_character_and_never_a_control(charset: str, text: str) -> None:
    data = encode_text(text, charset)
    assert len(data) == len(text)
    assert LINE_CONTROLS.isdisjoint(data)
    back = read(data, charset)
    assert not any(unicodedata.category(each) in {"Cc", "Cf", "Zl", "Zp"} for each in back)
    assert all(mine == its for mine, its in zip(text, back, strict=True) if has(mine, charset))


@pytest.mark.parametrize("charset", NAMES, ids=IDS)
@given(data=st.binary(max_size=60))
def test_what_can_be_typed_is_read_alike_in_one_piece_and_byte_by_byte(charset: str, data: bytes) -> None:
    try:
        whole = read(data, charset)
    except NotARequest:
        with pytest.raises(NotARequest):
            [read(bytes((each,)), charset) for each in data]
    else:
        assert whole == "".join(read(bytes((each,)), charset) for each in data)


@pytest.mark.parametrize("charset", NAMES, ids=IDS)
@given(data=st.binary(max_size=60))
def test_the_line_form_has_ascii_at_its_place_and_keeps_what_differs_apart(charset: str, data: bytes) -> None:
    formed = line_form(data, charset)
    characters = find_charset(charset).characters
    typed = {each for code, each in enumerate(characters) if code not in LINE_CONTROLS}
    ascii_codes = {ord(each) for each in typed if " " <= each <= "~"}
    for byte, form in zip(data, formed, strict=True):
        if byte in LINE_CONTROLS:
            assert form == byte
        elif " " <= characters[byte] <= "~":
            assert form == ord(characters[byte])
        else:
            assert form not in LINE_CONTROLS
            assert form not in ascii_codes


def test_case_swap() -> None:
    """41h-5Ah and 61h-7Ah change places; the rest is ISO 646."""
    assert encode_text("Ab[z{ 9", "caseswap") == b"aB[Z{ 9"
    assert read(b"ask TIDES @`", "caseswap") == "ASK tides @`"
    for byte in range(0x80, 0x100):
        with pytest.raises(NotARequest, match=f"Byte {byte:02X} hex is not in the charset"):
            read(bytes((byte,)), "caseswap")


def test_bytes_from_the_published_tables() -> None:
    """From memory of the Unicode Consortium's CP437.TXT, KOI8-R.TXT, CP037.TXT, 8859-15.TXT, CP1252.TXT."""
    for byte, point, charset in (
        (0x80, 0x00C7, "cp437"),
        (0xE1, 0x00DF, "cp437"),
        (0xB0, 0x2591, "cp437"),
        (0xC1, 0x0430, "koi8-r"),
        (0xF7, 0x0412, "koi8-r"),
        (0xC1, 0x0041, "cp037"),
        (0x40, 0x0020, "cp037"),
        (0xF0, 0x0030, "cp037"),
        (0xA4, 0x20AC, "iso8859-15"),
        (0x80, 0x20AC, "cp1252"),
    ):
        assert encode_text(chr(point), charset) == bytes((byte,))
        assert read(bytes((byte,)), charset) == chr(point)


def test_a_byte_that_is_not_there_is_named_as_it_was_typed() -> None:
    """81h has no character in windows-1252; in cp424 70h has none, and is not an ASCII p."""
    with pytest.raises(NotARequest, match="Byte 81 hex is not in the charset"):
        read(b"a\x81", "cp1252")
    with pytest.raises(NotARequest, match="Byte 70 hex is not in the charset"):
        read(b"\x81\x70", "cp424")


def test_ebcdic_has_its_line_in_the_lines_own_controls() -> None:
    """25h, 15h and 05h are LF, NEL and HT in code page 037, but no line's end and no blank here."""
    for byte in (0x25, 0x15, 0x05):
        with pytest.raises(NotARequest, match="Control"):
            read(bytes((byte,)), "cp037")
    assert line_form("? >ASK tides.".encode("cp037"), "cp037") == b"? >ASK tides."
    assert encode_text("200 00003 028 .*", "cp037") == "200 00003 028 .*".encode("cp037")
    assert encode_text('"', "cp037") == b"\x7d"  # its quote is 7Fh, which rubs out: an apostrophe


def test_what_a_charset_lacks() -> None:
    assert encode_text("a\u20ac", "latin1") == b"a?"
    assert encode_text("a\xa0b\u3000c", "latin1") == b"a b c"  # no-break and ideographic blank
    caps = table_charset("caps", CAPITALS)
    assert encode_text("Tides {10 ~ `x`}", caps) == b"TIDES (10 - 'X')"
    with pytest.raises(NotARequest):
        read(b"a", caps)


def test_names() -> None:
    for word, name in {
        "ASCII": "ascii",
        "us-ascii": "ascii",
        "ISO-8859-1": "latin1",
        "l1": "latin1",
        "CaseSwap": "caseswap",
        "KOI8_R": "koi8-r",
        "windows-1252": "cp1252",
        "IBM037": "cp037",
    }.items():
        assert charset_name(word, {}) == name
    for word in ("shift_jis", "utf-8", "rot13", "koi9", "file:/etc/passwd", "table:caps", "", "é"):
        with pytest.raises(WrongWords):
            charset_name(word, {})
    with pytest.raises(LookupError):
        find_charset("koi9")


def test_a_table_is_taken_by_the_words_that_name_it_and_shown_without_its_path() -> None:
    caps = table_charset("CAPS", CAPITALS)
    tables = {"file:tables/Caps.txt": caps, "table:caps": caps}
    for word in ("file:tables/Caps.txt", "table:caps", "TABLE:Caps"):
        assert charset_name(word, tables) == caps
    for word in ("file:tables/caps.txt", "file:./tables/Caps.txt", "table:other"):
        with pytest.raises(WrongWords):
            charset_name(word, tables)
    assert shown_charset(caps) == "table:caps"
    assert shown_charset("latin1") == "latin1"


def test_seven_bits_leave_the_lower_half() -> None:
    assert seven_bit_charset("latin1") == seven_bit_charset("koi8-r") == "ascii"
    assert seven_bit_charset("caseswap") == "caseswap"
    caps = table_charset("caps", CAPITALS)
    assert seven_bit_charset(caps) == caps
    upper_too = table_charset("caps", CAPITALS[:0x80] + "é" * 0x80)
    assert shown_charset(seven_bit_charset(upper_too)) == "table:caps"
    assert encode_text("É é", seven_bit_charset(upper_too)) == b"? ?"
    for name in ("cp037", "cp500"):
        with pytest.raises(LookupError):
            seven_bit_charset(name)


@given(st.integers(0, 0x10FFFF))
def test_ascii_has_exactly_the_international_reference_version(point: int) -> None:
    """ISO 646 IRV: 94 graphic characters and the blank, 20h-7Eh."""
    assert has(chr(point), "ascii") == (0x20 <= point <= 0x7E)
