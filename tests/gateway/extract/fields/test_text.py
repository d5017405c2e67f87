"""Text: the order of cleaning, cutting and padding (CONTRACT section 4 "Values")."""

import json
import re
import unicodedata
from pathlib import Path

import pytest
from anyascii import anyascii
from hypothesis import example, given
from hypothesis import strategies as st

from adapters import limits
from gateway.extract.fields.text import Lettering, cut, place
from gateway.extract.plan import Align, Cut
from gateway.wire.charsets import encode_text, find_charset, has, table_charset
from gateway.wire.tables.charset import ASCII as ISO_646
from gateway.wire.tables.charset import UNDEFINED
from gateway.wire.tables.installed import installed_names
from tests.gateway.extract.holding import longest_hold

CASES = Path(__file__).parents[3] / "cases"
ASCII = Lettering("ascii")
LATIN_1 = Lettering("latin1")
CP437 = Lettering("cp437")

hostile_text = st.text(
    st.characters() | st.sampled_from("\r\n\t\x00\x1b\x7f\x85\x9b\xa0\u2028\u2029 \ufeff\u200d👍🏽")
)


def printable_ascii(text: str) -> bool:
    return all(0x20 <= ord(each) <= 0x7E for each in text)


# The cases


def transliterate_case() -> tuple[int, list[tuple[str, str]], list[str]]:
    wanted = json.loads((CASES / "text-transliterate-then-cut" / "expected.json").read_text("utf-8"))
    return wanted["width"], [tuple(pair) for pair in wanted["fields"]], wanted["only_length_fixed"]


def test_width_is_measured_after_transliteration() -> None:
    width, fields, _ = transliterate_case()
    inputs = json.loads((CASES / "text-transliterate-then-cut" / "values.json").read_text("utf-8"))
    assert [sent for sent, _ in fields] == inputs[: len(fields)]
    for sent, shown in fields:
        assert place(cut(ASCII.clean(sent), width), width) == shown


def test_scripts_without_one_right_spelling_are_exactly_as_wide() -> None:
    width, _, others = transliterate_case()
    for sent in others:
        shown = place(cut(ASCII.clean(sent), width), width)
        assert len(shown) == width
        assert printable_ascii(shown)
        assert shown.strip()


def test_values_do_not_forge_lines() -> None:
    folder = CASES / "text-values-must-not-forge-lines"
    values = json.loads((folder / "values.json").read_text("utf-8"))
    wanted = json.loads((folder / "expected.json").read_text("utf-8"))
    assert {name: ASCII.clean(text) for name, text in values.items()} == wanted["clean"]
    assert len(values) == wanted["records"]


# Cleaning


@pytest.mark.parametrize(
    "control", [*map(chr, range(0x20)), *map(chr, range(0x7F, 0xA1)), "\u2028", "\u2029"]
)
@pytest.mark.parametrize("lettering", [ASCII, LATIN_1, CP437], ids=["ascii", "latin1", "cp437"])
def test_every_control_and_separator_is_a_blank(control: str, lettering: Lettering) -> None:
    # C0, DEL, C1 (ISO/IEC 6429), no-break space; Unicode 5.8 "Newline Guidelines" for U+0085, U+2028, U+2029
    assert lettering.clean(f"a{control}b") == "a b"


@pytest.mark.parametrize(
    "blank", [chr(code) for code in range(0x11_0000) if unicodedata.category(chr(code)) == "Zs"]
)
def test_every_blank_of_unicode_is_one(blank: str) -> None:
    assert ASCII.clean(f"{blank}a{blank}{blank}b{blank}") == "a b"


@pytest.mark.parametrize(
    "nothing", ["\u200b", "\u200d", "\u200c", "\ufeff", "\u00ad", "\u0301", "\ufe0f", "\u2060"]
)
def test_zero_width_and_combining_leftovers_vanish(nothing: str) -> None:
    assert ASCII.clean(f"x{nothing}1") == "x1"
    assert LATIN_1.clean(f"x{nothing}1") == "x1"


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        ("21 °C", "21 C"),
        ("21°F", "21F"),
        ("54°N", "54degN"),  # the general table's word: an `o` would read as a nought
        ("54° 20'", "54deg 20'"),
        ("21 ℃", "21 C"),
        ("5°Celsius", "5degCelsius"),
    ],
)
def test_degrees(sent: str, shown: str) -> None:
    assert ASCII.clean(sent) == shown


def test_degrees_stay_where_the_charset_has_them() -> None:
    assert LATIN_1.clean("21 °C") == CP437.clean("21 °C") == "21 °C"


@pytest.mark.parametrize(
    "emoji",
    [
        "👍",
        "👍🏽",  # with a skin tone
        "☔️",  # with a variation selector
        "👩‍👩‍👧‍👦",  # four joined
        "🤷🏽‍♀️",  # joined, with a skin tone and a selector
        "🏴󠁧󠁢󠁳󠁣󠁴󠁿",  # a tag sequence
        "🫨",  # newer than Python 3.11's own tables
    ],
)
def test_an_emoji_is_one_question_mark(emoji: str) -> None:
    assert ASCII.clean(f"ok {emoji}!") == "ok ?!"


def test_two_emoji_are_two() -> None:
    assert ASCII.clean("👍🏽👍") == "??"


def test_flags_and_keycaps_keep_their_letters() -> None:
    assert ASCII.clean("🇳🇴 1️⃣") == "NO 1"


def test_short_forms() -> None:
    assert ASCII.clean("a↔b ↗ ♥ ₼") == "a<->b / <3 AZN"


def test_letters_may_be_long_and_symbols_not() -> None:
    assert ASCII.clean("庄") == "Zhuang"  # pinyin
    assert ASCII.clean("\ufdfa") == "?"  # one letter of Unicode that anyascii spells with 12 or more


def test_what_no_table_has_is_a_question_mark() -> None:
    assert ASCII.clean("a\ue000b\ud800c\U0010fffed") == "a?b?c?d"


@given(st.characters())
@example("\u2028")
@example("☔")
def test_one_character_becomes_at_most_six(character: str) -> None:
    written = ASCII.clean(character)
    assert len(written) <= 6
    assert printable_ascii(written)


@given(st.text(st.characters(categories=["Lu", "Ll", "Nd"])))
def test_letters_and_digits_follow_the_general_table(text: str) -> None:
    # anyascii 0.3, on NFC: nothing is added to it where it has at most six characters
    if all(len(anyascii(each)) in range(1, 7) for each in unicodedata.normalize("NFC", text)):
        assert ASCII.clean(text) == " ".join(anyascii(unicodedata.normalize("NFC", text)).split())


@given(hostile_text, st.sampled_from([ASCII, LATIN_1, CP437]))
def test_clean_text_is_one_printable_line_and_stays_itself(text: str, lettering: Lettering) -> None:
    clean = lettering.clean(text)
    assert clean.isprintable()
    assert clean == clean.strip()
    assert "  " not in clean
    assert clean.splitlines() in ([], [clean])
    assert lettering.clean(clean) == clean


@given(hostile_text)
def test_latin_1_bytes_are_printable_positions(text: str) -> None:
    # ISO/IEC 8859-1: 20-7E and A1-FF without the soft hyphen; 80-9F are C1 controls
    data = LATIN_1.clean(text).encode("latin-1")
    assert all(0x20 <= byte <= 0x7E or (byte >= 0xA1 and byte != 0xAD) for byte in data)


@given(hostile_text)
def test_cp437_bytes_are_printable_positions(text: str) -> None:
    # Positions 00-1F are controls on a line, whatever graphics a screen has for them; FF is a no-break space.
    assert all(0x20 <= byte <= 0xFE and byte != 0x7F for byte in CP437.clean(text).encode("cp437"))


def test_what_a_charset_has_is_kept() -> None:
    latin = "".join(chr(code) for code in range(0xA1, 0x100) if code != 0xAD)
    assert LATIN_1.clean(latin) == latin
    graphics = bytes(code for code in range(0x80, 0xFF)).decode("cp437")
    kept = CP437.clean(graphics)
    assert kept == graphics
    assert LATIN_1.clean("Łódź e\u0301") == "Lódz é"  # composed before the charset is asked


EVERY = [*installed_names(), "caseswap"]


@pytest.mark.parametrize("charset", EVERY)
@given(text=hostile_text)
def test_clean_text_is_in_any_charset_a_byte_for_each_character(charset: str, text: str) -> None:
    """ASCII apart, of which a charset may lack signs: those are written one for one later."""
    lettering = Lettering(charset)
    clean = lettering.clean(text)
    assert all(each.isascii() or has(each, charset) for each in clean)
    assert not any(unicodedata.category(each) in {"Cc", "Cf", "Zl", "Zp"} for each in clean)
    assert clean == clean.strip()
    assert "  " not in clean
    assert lettering.clean(clean) == clean
    data = encode_text(clean, charset)
    assert len(data) == len(clean)
    assert not any(byte < 0x20 or byte == 0x7F for byte in data)


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("\u0131\u0301", "\u00ed"),  # a dotless i, which the table makes an i, and an acute
        ("\uff45\u0301", "\u00e9"),  # a wide e
        ("\u0131\u0300", "i\u0300"),  # cp1258 has no i with a grave
        ("\u1ebf", "\u00ea\u0301"),  # nor all marks of this in one
    ],
)
def test_a_letter_from_the_table_takes_the_mark_behind_it(text: str, written: str) -> None:
    """Unicode Standard Annex 15: what can be composed is one character, so it takes one column."""
    assert Lettering("cp1258").clean(text) == written
    assert Lettering("cp1258").clean(written) == written


@pytest.mark.parametrize("charset", EVERY)
def test_every_printable_character_of_a_charset_survives(charset: str) -> None:
    """Alone, since beside others some compose; what Unicode composes out of one is written apart again."""
    for point in find_charset(charset).sent:
        character = chr(point)
        composed = unicodedata.normalize("NFC", character)
        if character != " " and composed == character:
            assert Lettering(charset).clean(character) == character


def test_vietnamese_keeps_all_its_marks() -> None:
    """windows-1258 has tone marks as codes of their own; all letters of the alphabet, from memory."""
    vietnamese = "ắằẳẵặấầẩẫậếềểễệốồổỗộớờởỡợứừửữựíìỉĩịýỳỷỹỵáàảãạéèẻẽẹóòỏõọúùủũụđĂÂĐÊÔƠƯ Ế"
    clean = Lettering("cp1258").clean(vietnamese)
    assert unicodedata.normalize("NFC", clean.encode("cp1258").decode("cp1258")) == vietnamese
    assert Lettering("latin1").clean("ế") == "e"


def test_thai_and_hebrew_keep_the_marks_that_have_codes() -> None:
    assert Lettering("tis-620").clean("ที่นี่") == "ที่นี่"
    assert Lettering("cp1255").clean("שָׁלוֹם").encode("cp1255")
    assert Lettering("iso8859-8").clean("שָׁלוֹם \u200fא") == "שלום א"  # without points and direction marks


def test_right_to_left_text_stays_in_its_order() -> None:
    assert Lettering("iso8859-8").clean("אבג 12") == "אבג 12"


def test_a_charset_of_one_case_has_its_letters_in_that_case() -> None:
    """A table of capitals only, with one letter beyond ASCII; the catalogue's own spelling goes first."""
    caps = table_charset("caps", ISO_646[:0x60] + UNDEFINED * 0x20 + "ÄЖ".ljust(0x80, UNDEFINED))
    assert Lettering(caps).clean("Äpfel, äpfel, жук") == "Äpfel, Äpfel, Жuk"
    assert encode_text(Lettering(caps).clean("äpfel"), caps) == b"\x80PFEL"
    assert Lettering(caps, {"ä": "ae"}).clean("äpfel") == "aepfel"
    assert Lettering("koi8-r").clean("ä") == "a"


def test_fast_path_and_full_path_agree() -> None:
    odd = Lettering("ascii", {"~": "~"})  # its ASCII letter sends every text the long way
    for text in ("plain", " a  b ", "", "a\tb", "tab\x00", "  "):
        assert odd.clean(text) == ASCII.clean(text)


def test_spelling_keeps_every_blank() -> None:
    assert ASCII.spell("  Süd\t \x00 x ") == "  Sud    x "
    assert ASCII.spell("a  b ") == "a  b "


@given(hostile_text, st.sampled_from([ASCII, LATIN_1, CP437]))
def test_clean_text_is_spelt_text_without_spare_blanks(text: str, lettering: Lettering) -> None:
    spelt = lettering.spell(text)
    assert spelt.isprintable()
    assert " ".join(spelt.split()) == lettering.clean(text)


# The catalogue's letters


def test_letters_come_before_the_general_table() -> None:
    german = Lettering("ascii", {"ü": "ue", "ß": "sz"})
    assert ASCII.clean("Müßig") == "Mussig"
    assert german.clean("Müßig") == "Mueszig"
    assert german.clean("Mu\u0308ßig") == "Mueszig"  # after NFC


def test_letters_hold_whatever_form_the_catalogue_writes_them_in() -> None:
    assert Lettering("ascii", {"u\u0308": "ue"}).clean("ü") == "ue"


def test_longer_letters_win_and_ascii_ones_count() -> None:
    odd = Lettering("ascii", {"a": "1", "ab": "2", "№": "No."})
    assert odd.clean("abab a №5") == "22 1 No.5"


def test_letters_are_for_what_the_charset_lacks() -> None:
    assert Lettering("latin1", {"ü": "ue", "ő": "oe"}).clean("für kettő") == "für kettoe"
    assert Lettering("ascii", {"ü": "ue", "ő": "oe"}).clean("für kettő") == "fuer kettoe"


def test_letters_cannot_forge_a_line() -> None:
    assert Lettering("ascii", {"ü": "\r\nOK"}).clean("xü") == "x OK"


# Cutting and padding


@pytest.mark.parametrize(
    ("how", "width", "shown"),
    [
        (Cut.END, 9, "the long"),
        (Cut.END, 10, "the long q"),
        (Cut.START, 8, "ong quay"),
        (Cut.START, 5, "quay"),
        (Cut.WORD, 8, "the long"),
        (Cut.WORD, 9, "the long"),
        (Cut.WORD, 7, "the"),
        (Cut.WORD, 2, "th"),  # not even one word fits
        (Cut.WORD, 13, "the long quay"),
    ],
)
def test_cut(how: Cut, width: int, shown: str) -> None:
    assert cut("the long quay", width, how) == shown


@pytest.mark.parametrize(
    ("align", "shown"), [(Align.LEFT, "ab..."), (Align.RIGHT, "...ab"), (Align.CENTER, ".ab..")]
)
def test_place(align: Align, shown: str) -> None:
    assert place("ab", 5, align, ".") == shown


@given(hostile_text, st.integers(0, 255), st.sampled_from(Cut), st.sampled_from(Align))
def test_any_text_is_exactly_as_wide_as_asked(text: str, width: int, how: Cut, align: Align) -> None:
    shown = place(cut(ASCII.clean(text), width, how), width, align)
    assert len(shown) == width
    assert printable_ascii(shown)


@given(
    st.lists(
        st.text(st.sampled_from("abcC°é\u0301e\u1100\u1161я日👍\u200d🏽\t\u2028ß-"), max_size=7), max_size=60
    ),
    st.sampled_from([ASCII, LATIN_1, CP437, Lettering("ascii", {"ß": "sz", "cb": "!"})]),
)
def test_a_long_line_is_spelled_alike_in_stretches(words: list[str], lettering: Lettering) -> None:
    text = " ".join(words)
    whole = lettering.spell(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "SPELL_CHARACTERS", 20)
        assert lettering.spell(text) == whole


@given(st.text(st.sampled_from("я日本éabC°\u0301\u1100\u1161\t,1"), max_size=300))
def test_a_line_without_blanks_is_broken_where_nothing_composes(text: str) -> None:
    marks = re.sub("[°\u0301\u1100\u1161]{3,}", "x", text)  # else there may be no such place in reach
    whole = ASCII.spell(marks)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "SPELL_CHARACTERS", 20)
        assert ASCII.spell(marks) == whole
        assert ASCII.spell("\u0301" * 99) == ""


def test_a_line_of_megabytes_keeps_no_other_thread_waiting() -> None:
    """In one call it took 260 ms on the machine where 7 are measured now."""
    text = "Привет мир как дела " * 400_000
    assert longest_hold(lambda: ASCII.spell(text)) < 0.12


def test_only_so_many_spellings_are_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPELLINGS", 0)
    fresh = Lettering("cp860")
    assert [fresh.spell("\u0416\u0434") for _ in range(2)] == ["Zhd", "Zhd"]
