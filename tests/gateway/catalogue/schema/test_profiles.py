"""[profile.NAME]: the same words as SET."""

import pytest

from gateway.wire.settings import LATER, SETTINGS, Settings
from tests.gateway.catalogue.marked import check, load

WRONG = {
    "unknown": "windwo = 5\n^^^^^^",
    "a slip": "colls = 5\n^^^^^ cols",
    "range": "cols = 300\n       ^^^",
    "word": 'eol = "crfl"\n       ^^^^ crlf',
    "switch": 'mark = "yes"\n        ^^^',
    "zone": 'zone = "lisbon"\n        ^^^^^^ Europe/Lisbon',
    "charset of a later version": 'charset = "caseswap"\n           ^^^^^^^^',
    "list": "cols = [40]\n       ^^^^",
    "decimal": "page = 2.0\n       ^^^",
    "cols against most": "cols = 80\n       ^^\nmost = 40",
    "eol against bits": 'bits = 7\neol = "9b"\n       ^^',
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(f"[profile.narrow]\n{lines}")


@pytest.mark.parametrize("key", sorted(LATER))
def test_settings_of_later_versions_say_so(key: str) -> None:
    (mistake,) = check(f"[profile.narrow]\n{key} = 1\n{'^' * len(key)}")
    assert mistake.found == "not in this version yet"


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
echo = true
bytes = "IHEX"
block = 256
names = 8.3
order = "date"
zone = "europe/lisbon"
""").profiles["NARROW"]
    expected = (
        *(32, 80, "cr", "latin1", 8, "off", "upper", "lower", True, True, 10, True),
        *("ihex", 256, "8.3", "date", "Europe/Lisbon"),
    )
    assert tuple(getattr(profile, name) for name in SETTINGS) == expected


def test_an_empty_profile_is_plain() -> None:
    profiles = load("[profile.mine]\n").profiles
    assert profiles == {"PLAIN": Settings(), "MINE": Settings()}
