"""Settings: the contract's table of section 5, all or none, and what comes later."""

import zoneinfo
from dataclasses import fields

import pytest

from adapters.errors import WrongWords
from gateway.wire.settings import SETTINGS, Settings, change, shown, zone_name
from gateway.wire.tables.charset import ASCII as CODES

# CONTRACT section 5, in its own order; the first value named is the default.
CONTRACT = {
    "cols": "40",
    "most": "255",
    "eol": "crlf",
    "charset": "ascii",
    "bits": "8",
    "telnet": "auto",
    "case": "mixed",
    "typed": "asis",
    "guard": "off",
    "mark": "off",
    "page": "0",
    "window": "0",
    "pace": "0",
    "gap": "0",
    "check": "none",
    "flow": "none",
    "echo": "off",
    "bytes": "hex",
    "block": "128",
    "names": "long",
    "order": "name",  # not in the contract, which only adds: how LIST sorts
    "zone": "UTC",
}


def test_the_table_is_the_contracts() -> None:
    assert {name: setting.default for name, setting in SETTINGS.items()} == CONTRACT
    assert [each.name for each in fields(Settings)] == list(SETTINGS)


@pytest.mark.parametrize(
    ("key", "word", "value"),
    [
        ("cols", "16", 16),
        ("COLS", "255", 255),
        ("eol", "9B", "9b"),
        ("charset", "CP437", "cp437"),
        ("charset", "CaseSwap", "caseswap"),
        ("charset", "KOI8_R", "koi8-r"),
        ("charset", "us-ascii", "ascii"),
        ("bits", "7", 7),
        ("telnet", "off", "off"),
        ("case", "UPPER", "upper"),
        ("typed", "lower", "lower"),
        ("guard", "ON", True),
        ("mark", "off", False),
        ("page", "99999", 99999),
        ("echo", "on", True),
        ("bytes", "IHEX", "ihex"),
        ("bytes", "line", "line"),
        ("block", "1", 1),
        ("block", "65535", 65535),
        ("names", "8.3", "8.3"),
        ("order", "Date", "date"),
        ("zone", "europe/ZURICH", "Europe/Zurich"),
    ],
)
def test_words_that_are_right(key: str, word: str, value: object) -> None:
    assert getattr(change(Settings(), [(key, word)]), key.lower()) == value


@pytest.mark.parametrize(
    ("key", "word"),
    [
        ("cols", "15"),
        ("cols", "256"),
        ("cols", ""),
        ("cols", "-1"),
        ("cols", "4O"),
        ("cols", "٤٠"),
        ("most", "300"),
        ("eol", "crcr"),
        ("charset", "utf8"),
        ("charset", "shift_jis"),
        ("charset", "rot13"),
        ("charset", "file:/etc/passwd"),
        ("bits", "9"),
        ("guard", "1"),
        ("page", "100000"),
        ("bytes", "octal"),
        ("block", "0"),
        ("block", "65536"),
        ("names", "8"),
        ("order", "colour"),
        ("zone", "Atlantis/Port"),
        ("colour", "3"),
        ("", "1"),
    ],
)
def test_words_that_are_wrong(key: str, word: str) -> None:
    with pytest.raises(WrongWords):
        change(Settings(), [(key, word)])


def test_all_or_none() -> None:
    settings = Settings()
    with pytest.raises(WrongWords):
        change(settings, [("cols", "32"), ("eol", "nonsense")])
    assert settings == Settings()


def test_columns_may_not_be_wider_than_the_longest_record() -> None:
    with pytest.raises(WrongWords):
        change(Settings(), [("most", "32")])
    assert change(Settings(), [("most", "32"), ("cols", "32")]).cols == 32


def test_a_9b_end_needs_eight_bits() -> None:
    with pytest.raises(WrongWords):
        change(Settings(), [("bits", "7"), ("eol", "9b")])


def test_a_charset_whose_letters_need_eight_bits() -> None:
    for pairs in ([("charset", "cp037"), ("bits", "7")], [("bits", "7"), ("charset", "cp037")]):
        with pytest.raises(WrongWords, match="This charset needs bits 8"):
            change(Settings(), pairs)
    with pytest.raises(WrongWords):
        change(change(Settings(), [("charset", "cp037")]), [("bits", "7")])


def test_with_seven_bits_a_charset_is_its_lower_half() -> None:
    for charset, printed in (("latin1", "ascii"), ("koi8-r", "ascii"), ("caseswap", "caseswap")):
        assert change(Settings(), [("charset", charset), ("bits", "7")]).printed == printed
        assert change(Settings(), [("charset", charset)]).printed == charset


def test_lines_do_not_end_in_what_is_a_letter() -> None:
    """9Bh is a cent sign in code page 437, a graphic in KOI8-R, and a control in ISO 8859."""
    for charset in ("cp437", "koi8-r", "cp1252"):
        with pytest.raises(WrongWords, match="eol 9b"):
            change(Settings(), [("charset", charset), ("eol", "9b")])
    for charset in ("latin1", "ascii", "caseswap", "iso8859-15"):
        assert change(Settings(), [("charset", charset), ("eol", "9b")]).eol == "9b"


def test_a_table_is_taken_only_where_a_catalogue_has_it() -> None:
    tables = {"file:t/own.txt": "table:own=" + CODES, "table:own": "table:own=" + CODES}
    for word in ("file:t/own.txt", "table:OWN"):
        settings = change(Settings(), [("charset", word)], tables)
        assert settings.charset == tables["table:own"]
        assert shown(settings.charset) == "table:own"
        assert change(Settings(), [("charset", shown(settings.charset))], tables) == settings
    with pytest.raises(WrongWords):
        change(Settings(), [("charset", "file:t/other.txt")], tables)


def test_every_iana_zone_is_found_whatever_its_case() -> None:
    """The list is the IANA database's, as the standard library and the tzdata package carry it."""
    for name in zoneinfo.available_timezones():
        assert zone_name(name.swapcase()) == name


def test_a_charset_without_a_catalogue_is_one_that_needs_no_table() -> None:
    assert SETTINGS["charset"].read("CP437") == change(Settings(), [("charset", "cp437")]).charset
    with pytest.raises(WrongWords):
        SETTINGS["charset"].read("harbour")
