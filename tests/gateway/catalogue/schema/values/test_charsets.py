"""`charset` of a profile: names, and mapping files read and checked with the catalogue."""

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults, Mistake
from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue
from gateway.wire.charsets import encode_text, find_charset, shown_charset
from gateway.wire.settings import Settings, change
from tests.gateway.catalogue.marked import SECRETS, check

ASCII_LINES = "".join(f"0x{code:02X}\t0x{code:04X}\t# {code}\n" for code in range(0x80))
FILES = {
    "kiosk.txt": ASCII_LINES + "0x80\t0x00E9\t# LATIN SMALL LETTER E WITH ACUTE\n0x81\t\t# UNDEFINED\n",
    "bad.txt": ASCII_LINES + "0x80\t0xD800\n0x80\t0x00E9\n0x100\t0x0041\n",
    "poor.txt": ASCII_LINES.replace("0x2E\t0x002E", "0x2E"),
    "empty.txt": "",
}


def load(text: str) -> Catalogue:
    return load_catalogue(text, "headrace.toml", SECRETS.get, read_table=FILES.get)


def mistakes(text: str) -> tuple[Mistake, ...]:
    with pytest.raises(CatalogueFaults) as caught:
        load(text)
    return caught.value.mistakes


@pytest.mark.parametrize(
    "lines",
    [
        'charset = "kio8-r"\n           ^^^^^^ koi8-r',
        'charset = "cp-437"\n           ^^^^^^ cp437',
        'charset = "latin11"\n           ^^^^^^^ latin1',
        'charset = "case-swap"\n           ^^^^^^^^^ caseswap',
        'charset = "shift_jis"\n           ^^^^^^^^^',
        'charset = "utf-8"\n           ^^^^^',
        "charset = 7\n          ^",
        'charset = "cp037"\n           ^^^^^\nbits = 7',
        'charset = "cp437"\n           ^^^^^\neol = "9b"',
        'charset = "file:nowhere"\n           ^^^^^^^^^^^^',
        'charset = "file:"\n           ^^^^^',
    ],
)
def test_mistakes(lines: str) -> None:
    check(f"[profile.narrow]\n{lines}")


def test_what_is_wrong_with_a_charset_that_is_there() -> None:
    (mistake,) = mistakes('[profile.a]\ncharset = "big5"\n')
    assert mistake.found == '"big5", which has not one byte a character'
    assert "caseswap" in mistake.allowed


@pytest.mark.parametrize("value", ["true", "8.3"])
def test_what_is_no_text_is_shown_as_it_stands(value: str) -> None:
    (mistake,) = mistakes(f"[profile.a]\ncharset = {value}\n")
    assert mistake.found == value


def test_charsets_that_need_no_file() -> None:
    text = "".join(
        f'[profile.p{number}]\ncharset = "{word}"\n'
        for number, word in enumerate(("caseswap", "KOI8_R", "us-ascii", "IBM037"))
    )
    catalogue = load(text)
    found = [catalogue.profiles[f"P{number}"].charset for number in range(4)]
    assert found == ["caseswap", "koi8-r", "ascii", "cp037"]
    assert catalogue.tables == {}


def test_a_mapping_file_is_read_once_and_can_be_typed_by_its_text_or_a_profiles_name() -> None:
    text = (
        '[profile.Kiosk]\ncharset = "file:kiosk.txt"\ncols = 32\n[profile.pub]\ncharset = "file:kiosk.txt"\n'
    )
    catalogue = load(text)
    charset = catalogue.profiles["KIOSK"].charset
    assert catalogue.profiles["KIOSK"].cols == 32
    assert catalogue.profiles["PUB"].charset == charset
    assert shown_charset(charset) == "table:kiosk"
    assert set(catalogue.tables) == {"file:kiosk.txt", "table:kiosk", "table:pub"}
    for word in ("file:kiosk.txt", "TABLE:KIOSK", "table:pub"):
        assert change(Settings(), [("charset", word)], catalogue.tables).charset == charset
    assert encode_text("é!", charset) == b"\x80!"
    assert not find_charset(charset).has("\x81")
    assert catalogue.watched == ("headrace.toml", "kiosk.txt")


def test_two_versions_of_a_file_are_two_charsets() -> None:
    text = '[profile.kiosk]\ncharset = "file:kiosk.txt"\n'
    old = load(text).profiles["KIOSK"].charset
    changed = {"kiosk.txt": FILES["kiosk.txt"].replace("0x00E9", "0x00E8")}
    new = load_catalogue(text, "f", SECRETS.get, read_table=changed.get).profiles["KIOSK"].charset
    assert new != old
    assert (encode_text("é", old), encode_text("é", new)) == (b"\x80", b"?")
    assert shown_charset(new) == shown_charset(old)


def test_mistakes_in_a_mapping_file_are_told_with_its_lines() -> None:
    text = '[profile.a]\ncharset = "file:bad.txt"\n[profile.b]\ncharset = "file:bad.txt"\neol = "cr"\n'
    found = mistakes(text)
    assert [(each.line, each.column, each.length, each.key) for each in found] == [
        (2, 12, len("file:bad.txt"), "profile.a.charset")
    ] * 3
    assert [each.found for each in found] == [
        "line 129 of bad.txt: 0xD800",
        "line 130 of bad.txt: 0x80, which line 129 has",
        "line 131 of bad.txt: 0x100, which is no byte",
    ]
    assert found[0].allowed.startswith("one code point from 0x0000")


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("poor.txt", "poor.txt: no code for ."),
        ("empty.txt", "empty.txt: no code for a blank ! * + - . / 0 1 2 3 4 5 6 7 8 9 : = >..."),
    ],
)
def test_a_table_that_lacks_what_is_needed(name: str, found: str) -> None:
    (mistake,) = mistakes(f'[profile.a]\ncharset = "file:{name}"\n')
    assert mistake.found == found
    assert mistake.allowed.startswith("blank, digits")


def test_a_file_that_is_not_there_or_nobody_reads() -> None:
    text = '[profile.a]\ncharset = "file:nowhere.txt"\n'
    (mistake,) = mistakes(text)
    assert mistake.found == '"file:nowhere.txt", which is no file that can be read'
    assert mistake.allowed == "an ordinary file"  # a folder, a FIFO and a device are none
    with pytest.raises(CatalogueFaults):
        load_catalogue('[profile.a]\ncharset = "file:kiosk.txt"\n', "f", SECRETS.get)


@pytest.mark.parametrize("word", ["FILE:kiosk.txt", " file:kiosk.txt", "file: kiosk.txt", "File :kiosk.txt"])
def test_file_is_written_in_one_way(word: str) -> None:
    (mistake,) = mistakes(f'[profile.a]\ncharset = "{word}"\n')
    assert mistake.nearest == "file:kiosk.txt"
