"""[profile.NAME]: the same words as SET."""

import pytest

from gateway.wire.ready import PROFILES
from gateway.wire.settings import SETTINGS, Settings
from tests.gateway.catalogue.marked import check, load

WRONG = {
    "unknown": "windwo = 5\n^^^^^^ window",
    "a slip": "colls = 5\n^^^^^ cols",
    "range": "cols = 300\n       ^^^",
    "word": 'eol = "crfl"\n       ^^^^ crlf',
    "switch": 'mark = "yes"\n        ^^^',
    "zone": 'zone = "lisbon"\n        ^^^^^^ Europe/Lisbon',
    "list": "cols = [40]\n       ^^^^",
    "decimal": "page = 2.0\n       ^^^",
    "cols against most": "cols = 80\n       ^^\nmost = 40",
    "cols and check against most": "cols = 40\n       ^^\nmost = 43\ncheck = 'crc'",
    "most against check": "most = 41\n       ^^\ncheck = 'sum'",
    "eol against bits": 'bits = 7\neol = "9b"\n       ^^',
    "two at odds": 'cols = 80\n       ^^\nmost = 40\nbits = 7\neol = "9b"\n       ^^',
    "three at odds": """
most = 42
       ^^
check = "crc"
bits = 7
eol = "9b"
       ^^
charset = "cp037"
           ^^^^^
""",
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(f"[profile.narrow]\n{lines}")


def test_plain_stays_plain() -> None:
    check("[profile.Plain]\n         ^^^^^\ncols = 80")


def test_every_setting_can_be_told_by_word_number_and_switch() -> None:
    profile = load("""
[profile.narrow]
cols = 32
most = "80"
eol = "CR"
charset = "latin1"
bits = 8
telnet = "off"
case = "upper"
typed = "lower"
guard = true
mark = "on"
page = 10
window = 4
pace = "960"
gap = 50
check = "CRC"
flow = "xon"
echo = true
bytes = "IHEX"
block = 256
names = 8.3
order = "date"
zone = "europe/lisbon"
""").profiles["NARROW"]
    expected = (
        *(32, 80, "cr", "latin1", 8, "off", "upper", "lower", True, True, 10, 4, 960, 50),
        *("crc", "xon", True),
        *("ihex", 256, "8.3", "date", "Europe/Lisbon"),
    )
    assert tuple(getattr(profile, name) for name in SETTINGS) == expected


def test_an_empty_profile_is_plain() -> None:
    profiles = load("[profile.mine]\n").profiles
    assert profiles == {**PROFILES, "MINE": Settings()}


def test_an_own_profile_goes_before_a_ready_one() -> None:
    assert load("[profile.cols-22]\ncols = 23\n").profiles["COLS-22"] == Settings(cols=23)
