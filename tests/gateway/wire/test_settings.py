"""Settings: the contract's table of section 5, all or none, and what comes later."""

import zoneinfo
from dataclasses import fields

import pytest

from adapters.errors import NotPossible, WrongWords
from gateway.wire.settings import LATER, SETTINGS, Settings, change, zone_name

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
    assert not LATER & set(SETTINGS)


@pytest.mark.parametrize(
    ("key", "word", "value"),
    [
        ("cols", "16", 16),
        ("COLS", "255", 255),
        ("eol", "9B", "9b"),
        ("charset", "CP437", "cp437"),
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


@pytest.mark.parametrize("key", sorted(LATER))
def test_later_settings_are_said_to_be_later(key: str) -> None:
    with pytest.raises(NotPossible):
        change(Settings(), [(key, "1")])


def test_every_iana_zone_is_found_whatever_its_case() -> None:
    """The list is the IANA database's, as the standard library and the tzdata package carry it."""
    for name in zoneinfo.available_timezones():
        assert zone_name(name.swapcase()) == name
