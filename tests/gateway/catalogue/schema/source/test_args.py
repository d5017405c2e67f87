"""args and choices."""

import pytest

from gateway.catalogue.model import Arg, ArgKind
from tests.gateway.catalogue.marked import check, load, source

URL = 'url = "https://a.example/{day}"'

WRONG = {
    "kind": "args = ['day:itn']\n             ^^^ int",
    "empty kind": "args = ['day:']\n             ^",
    "hyphen": "args = ['day', 'a-b']\n                ^^^",
    "digit first": "args = ['day', '1a']\n                ^^",
    "twice": "args = ['day', 'day']\n                ^^^",
    "unused": "args = ['day', 'hour']\n                ^^^^",
    "choices of no arg": "args = ['day']\nchoices = { dya = { a = 'b' } }\n            ^^^ day",
    "choices that are no table": "args = ['day']\nchoices = { day = 'x' }\n                   ^",
    "no choices": "args = ['day']\nchoices = { day = {} }\n                  ^^",
    "choices in two cases": "args = ['day']\n"
    "choices = { day = { a = '1', A = '2' } }\n                             ^",
    "choices that are no number": "args = ['day:int']\n"
    "choices = { day = { a = 'b' } }\n                         ^",
    "choices that are lists": "args = ['day']\n"
    "choices = { day = { a = ['b'] } }\n                        ^^^^^",
    "choice of nothing": 'args = ["day"]\nchoices = { day = { "" = "x" } }\n                    ^^',
    "choices with controls": 'args = ["day"]\nchoices = { day = { a = "\\n" } }\n                         ^^',
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(source(lines, url=URL))


def test_a_faulty_list_of_args_makes_no_slot_wrong() -> None:
    check(source("args = 'day'\n        ^^^ [\"day\"]", url=URL))
    check(source("args = ['a-b']\n         ^^^", url=URL))


def test_what_is_read() -> None:
    text = source(
        "args = ['day', 'n:int', 'x:fixed']\nchoices = { n = { Few = 3, many = '10' } }",
        url='url = "https://a.example/{day}{?n,x}"',
    )
    assert load(text).sources["A"].args == (
        Arg("day"),
        Arg("n", ArgKind.INT, {"few": "3", "many": "10"}),
        Arg("x", ArgKind.FIXED),
    )
