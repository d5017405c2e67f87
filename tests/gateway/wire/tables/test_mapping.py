"""Mapping files in the Unicode Consortium's format; their lines quoted from memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.wire.tables.charset import UNDEFINED
from gateway.wire.tables.installed import installed_characters, installed_names
from gateway.wire.tables.mapping import MappingFault, read_mapping

HEAD = "#\n#    Name:     a made-up table\n#    Format:  Three tab-separated columns\n#\n"


def published(characters: str, end: str = "\n") -> str:
    """A table as the published files have it."""
    lines = [
        f"0x{code:02x}\t{f'0x{ord(each):04x}' if each != UNDEFINED else '      '}\t#{each!a}"
        for code, each in enumerate(characters)
    ]
    return HEAD.replace("\n", end) + end.join(lines) + end


@pytest.mark.parametrize("name", installed_names())
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_installed_tables_as_files(name: str, end: str) -> None:
    characters = installed_characters(name)
    assert read_mapping(published(characters, end)) == (characters, ())


def test_lines_as_they_are_published() -> None:
    """Three of CP437.TXT, one of 8859-1.TXT, two of CP1252.TXT; an end-of-file mark as CP437.TXT has it."""
    base = published("".join(map(chr, range(0x80))))
    text = base + (
        "0x80\t0x00c7\t#LATIN CAPITAL LETTER C WITH CEDILLA\n"
        "0x81\t      \t#UNDEFINED\n"
        "0x82\t0x20AC\t#EURO SIGN\n"
        "0xE9\t0x00E9\t#\tLATIN SMALL LETTER E WITH ACUTE\n"
        "0xff\t0x00a0\t#NO-BREAK SPACE\n\n\x1a"
    )
    characters, faults = read_mapping("\ufeff" + text)
    assert faults == ()
    assert characters[0x80:0x84] == f"Ç{UNDEFINED}€{UNDEFINED}"
    assert characters[0xE9] == "é"
    assert characters[0xFF] == "\xa0"


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("0x100\t0x0041", "0x100, which is no byte"),
        ("0x" + "F" * 5000 + " 0x41", f"0x{'F' * 5000}, which is no byte"),
        ("0x8140\t0x3000", "0x8140, which is no byte"),
        ("0x41\t0x0041", "0x41, which line 70 has"),
        ("0x80\t0xD800", "0xD800"),
        ("0x80\t0xFFFE", "0xFFFE"),
        ("0x80\t0xFDD0", "0xFDD0"),
        ("0x80\t0x110000", "0x110000"),
        ("0x80\tU+0041", "U+0041"),
        ("0x80\t0x0041+0x0300", "0x0041+0x0300"),
        ("0x80\t0x41\t0x42", "0x80 0x41 0x42"),
        ("80\t41", "80 41"),
        ("0x\t0x41", "0x 0x41"),
        ("0x80 LATIN", "LATIN"),
        ("=80\tU+00C7", "=80 U+00C7"),
    ],
)
def test_mistakes_have_their_line(line: str, found: str) -> None:
    text = published("".join(map(chr, range(0x80)))) + line + "\n"
    _, faults = read_mapping(text)
    assert [(each.line, each.found) for each in faults] == [(133, found)]
    assert faults[0].allowed


def test_a_table_without_what_is_needed() -> None:
    _, (fault,) = read_mapping(published("".join(map(chr, range(0x80))).replace(">", UNDEFINED)))
    assert (fault.line, fault.found) == (0, "no code for >")
    _, (fault,) = read_mapping("")
    assert fault.line == 0
    assert fault.found.startswith("no code for a blank ! * +")


def test_no_more_mistakes_than_anybody_reads_and_no_longer_file() -> None:
    _, faults = read_mapping("nonsense\n" * 1000)
    assert [each.line for each in faults] == [1, 2, 3, 4, 5]
    _, faults = read_mapping("#" * (limits.TABLE_BYTES + 1))
    assert faults == (MappingFault(0, "too long", f"at most {limits.TABLE_BYTES} bytes"),)


@given(st.text(max_size=200) | st.from_regex(r"(0x[0-9A-F]{1,3}[ \t](0x[0-9A-F]{1,6})?(#.*)?\n)*"))
def test_no_text_breaks_it(text: str) -> None:
    characters, faults = read_mapping(text)
    assert len(characters) == 256
    assert len(faults) <= limits.TABLE_FAULTS
