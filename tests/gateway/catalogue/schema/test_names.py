"""Names of sources, places and profiles (CONTRACT section 1)."""

import pytest

from gateway.catalogue.keys.key import SCHEMES
from gateway.catalogue.schema.names import URL_SCHEMES
from tests.gateway.catalogue.marked import check, load

TAIL = 'base = "https://a.example/"'


@pytest.mark.parametrize("name", ["a", "A-1", "123456789012", "-", "news"])
def test_good_names(name: str) -> None:
    assert list(load(f"[place.{name}]\n{TAIL}\n").places) == [name.upper()]


WRONG = {
    "thirteen": f"[place.abcdefghijklm]\n       ^^^^^^^^^^^^^ abcdefghijkl\n{TAIL}",
    "underscore": f"[place.my_club]\n       ^^^^^^^ my-club\n{TAIL}",
    "blank": f'[place."my club"]\n       ^^^^^^^^^ my-club\n{TAIL}',
    "beyond ASCII": f'[place."büro"]\n       ^^^^^^\n{TAIL}',
    "empty": f'[place.""]\n       ^^\n{TAIL}',
    "scheme": f"[place.FTP]\n       ^^^\n{TAIL}",
    "scheme of others": f"[place.mailto]\n       ^^^^^^\n{TAIL}",
    "the same in another case": f"[place.club]\n{TAIL}\n[place.CLUB]\n       ^^^^\n{TAIL}",
    "no table": "place.club = 5\n      ^^^^",
    "a list of tables": f"[[place.club]]\n        ^^^^ [place.club]\n{TAIL}",
}


@pytest.mark.parametrize("snippet", WRONG.values(), ids=WRONG.keys())
def test_bad_names(snippet: str) -> None:
    check(snippet)


def test_a_badly_named_table_is_checked_all_the_same() -> None:
    check('[place.my_club]\n       ^^^^^^^ my-club\nbase = 5\n       ^ "5"')


def test_the_same_name_may_stand_in_different_tables() -> None:
    catalogue = load('[place.a]\nbase = "https://a.example/"\n[profile.a]\n')
    assert "A" in catalogue.places
    assert "A" in catalogue.profiles


def test_the_gateways_own_schemes_are_no_names() -> None:
    assert set(SCHEMES) <= URL_SCHEMES
