"""[phone.NUMBER]."""

import pytest

from tests.gateway.catalogue.marked import check, load

PLACES = '[place.board]\nbase = "tcp://far.example:7"\n[place.web]\nbase = "http://far.example/"\n'


def test_numbers_and_their_places() -> None:
    book = '[phone.5550100]\ndial = "Board"\n[phone.1]\ndial = "board:"\n[phone.2]\ndial = "web"\n'
    assert dict(load(f"{PLACES}{book}").phones) == {"5550100": "BOARD", "1": "BOARD", "2": "WEB"}
    assert dict(load("").phones) == {}


@pytest.mark.parametrize(
    "snippet",
    [
        f'{PLACES}[phone.1]\ndial = "bord"\n        ^^^^ board',
        f'{PLACES}[phone.12a]\n       ^^^\ndial = "board"',
        f"{PLACES}[phone.1]\n       ^",
        f'{PLACES}[phone]\n1 = "board"\n^',
        f'{PLACES}[phone.1]\ndial = "board"\nring = 3\n^^^^',
    ],
)
def test_mistakes(snippet: str) -> None:
    check(snippet)
