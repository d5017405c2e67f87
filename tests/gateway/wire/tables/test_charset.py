"""What a table must have, what of it may be sent, and how its bytes stand for ASCII's."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.wire.tables.charset import ASCII, UNDEFINED, lacking, lower_half, make_charset

LINE_CONTROLS = {*range(0x20), 0x7F}


def with_codes(**codes: str) -> str:
    """ASCII with other characters at some codes, `x5B="Ä"`."""
    characters = list(ASCII)
    for code, character in codes.items():
        characters[int(code[1:], 16)] = character
    return "".join(characters)


def test_a_national_version_of_iso_646() -> None:
    """The German one (DIN 66003, from memory): brackets, braces, bar, backslash and tilde are letters."""
    german = make_charset(with_codes(x40="§", x5B="Ä", x5C="Ö", x5D="Ü", x7B="ä", x7C="ö", x7D="ü", x7E="ß"))
    assert "Öl [4] {x} ~|\\@".translate(german.written) == "\\l (4) (x) -!/?"
    assert not german.one_case
    assert german.sent[ord("ß")] == 0x7E


def test_of_two_codes_for_one_character_the_first_is_sent_and_both_are_read() -> None:
    """Codes from 80h on that are the same characters once more, as reverse video."""
    both = make_charset(ASCII[:0x80] + ASCII[:0x80])
    assert both.sent == {ord(each): ord(each) for each in map(chr, range(0x20, 0x7F))}
    typed = bytes(each | 0x80 for each in b"? >LOGIN")
    assert typed.translate(both.line_form) == b"? >LOGIN"
    assert both.line_controls >= {0x8D}  # a CR with bit 7 is no line's end, and no character


def test_controls_formats_and_odd_blanks_are_never_sent() -> None:
    odd = ["\x85", "\xad", "\u200f", "\xa0", "\u2028", "\u2029", UNDEFINED]
    charset = make_charset(ASCII[:0x80] + "".join(odd).ljust(0x80, UNDEFINED))
    assert not any(charset.has(each) for each in odd)
    assert charset.line_controls == {*LINE_CONTROLS, 0x80}
    assert charset.echoed == {*range(0x20, 0x7F), *range(0x81, 0x86)}


def test_private_use_and_what_unicode_has_not_yet_named_may_be_sent() -> None:
    charset = make_charset(ASCII[:0x80] + ("\uf8ff\U0001ccf0").ljust(0x80, UNDEFINED))
    assert charset.has("\uf8ff")
    assert charset.has("\U0001ccf0")


def test_a_table_need_not_have_the_signs_that_national_versions_replace() -> None:
    """ISO 646 leaves 23h, 24h, 40h, 5Bh-5Eh, 60h and 7Bh-7Eh to them; the British one has a pound at 23h."""
    british = make_charset(with_codes(x23="£", x7E="‾"))
    assert "#~£".translate(british.written) == "?-#"
    assert lacking("".join(UNDEFINED if each in "#$@[\\]^`{|}~" else each for each in ASCII)) == ""


@pytest.mark.parametrize("character", " !*+-./:=>?09")
def test_what_the_protocol_is_made_of_must_be_there(character: str) -> None:
    word = "a blank" if character == " " else character
    assert lacking(ASCII.replace(character, UNDEFINED)) == word


def test_one_case_and_one_quote_are_enough() -> None:
    assert lacking(ASCII) == ""
    assert lacking(ASCII.replace("q", UNDEFINED)) == lacking(ASCII.replace("Q", UNDEFINED)) == ""
    assert lacking(ASCII.replace("q", UNDEFINED).replace("Q", UNDEFINED)) == "Q"
    assert lacking(ASCII.replace("'", UNDEFINED)) == lacking(ASCII.replace('"', UNDEFINED)) == ""
    assert lacking(ASCII.replace("'", UNDEFINED).replace('"', UNDEFINED)) == "a quote"
    assert "0" in lacking(UNDEFINED * 256)


def test_codes_that_are_the_lines_own_do_not_count() -> None:
    moved = ASCII.replace("?", UNDEFINED)
    assert lacking(moved[:0x7F] + "?" + moved[0x80:]) == lacking("?" + moved[1:]) == "?"


def test_a_machine_of_one_case() -> None:
    capitals = make_charset(ASCII[:0x60] + UNDEFINED * 0xA0)
    assert capitals.one_case
    assert "Tides".translate(capitals.written) == "TIDES"
    small = make_charset("".join(UNDEFINED if "A" <= each <= "Z" else each for each in ASCII))
    assert "200 S".translate(small.written) == "200 s"


def test_the_lower_half() -> None:
    assert lower_half("".join(map(chr, range(256)))) == ASCII


tables = st.lists(
    st.sampled_from([UNDEFINED, "\x85", "é", "й", "\xa0", "\xad", *map(chr, range(0x100, 0x200))]),
    min_size=256,
    max_size=256,
)


@given(tables, st.permutations(range(0x20, 0x100)))
def test_any_table_that_lacks_nothing_is_read_and_written_back(others: list[str], codes: list[int]) -> None:
    """ASCII's capitals, digits and signs on codes drawn at random, anything on the others."""
    places = [each for each in codes if each != 0x7F]
    characters = list(others)
    for code, character in zip(places, map(chr, range(0x20, 0x60)), strict=False):
        characters[code] = character
    table = "".join(characters)
    assert lacking(table) == ""
    charset = make_charset(table)
    assert sorted(set(charset.line_form[:0x20])) == list(range(0x20))
    for code in range(0x20, 0x100):
        form, character = charset.line_form[code], table[code]
        if code == 0x7F:
            assert form == 0x7F
        elif character == UNDEFINED:
            assert (charset.line_characters[form], charset.typed[form]) == (UNDEFINED, code)
        elif unicodedata.category(character) == "Cc":
            assert form in charset.line_controls
        else:
            assert charset.line_characters[form] == character
            assert form not in charset.line_controls
            assert charset.has(character) == (character.isprintable())
            if charset.has(character):
                assert table[charset.sent[ord(character)]] == character
                assert charset.sent[ord(character)] not in LINE_CONTROLS
