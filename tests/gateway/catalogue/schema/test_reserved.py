"""[hear.PORT], and `rings` of a listener."""

import pytest

from gateway.catalogue.model import LineEnd, ReservedPort
from tests.gateway.catalogue.marked import check, load, mistakes

FULL = """[hear.8200]
host = "0.0.0.0"
banner = "Welcome"
busy = "Later"
waiting = "2m"
telnet = true
lines = "cr"
charset = "Latin-1"
"""


def test_keys_and_defaults() -> None:
    assert load("[hear.8200]\n").reserved == {8200: ReservedPort(8200)}
    assert load("").reserved == {}
    full = ReservedPort(8200, "0.0.0.0", "Welcome", "Later", 120.0, True, LineEnd.CR, "iso8859-1")
    assert load(FULL).reserved == {8200: full}
    assert load("[hear.8200]\nraw = true\nwaiting = 0\n").reserved[8200] == ReservedPort(
        8200, raw=True, waiting=0.0
    )


def test_a_listener_at_which_it_rings() -> None:
    found = load('[hear.8200]\n[[listen]]\nport = 1\nspeaks = "modem"\nrings = 8200\n')
    assert found.listeners[0].rings == 8200


@pytest.mark.parametrize(
    "snippet",
    [
        "[hear.0]\n      ^",
        "[hear.65536]\n      ^^^^^",
        "[hear.line]\n      ^^^^",
        "[hear]\n8200 = 1\n^^^^",
        '[hear.8200]\nwaiting = "2h"\n           ^^ 3600',
        '[hear.8200]\nbusy = ""\n       ^^',
        "[hear.8200]\nring = 1\n^^^^",
        '[hear.8200]\nraw = true\nlines = "lf"\n^^^^^',
        '[hear.8200]\nraw = true\ncharset = "cp437"\n^^^^^^^',
        '[hear.8200]\ncharset = "utf-16"\n           ^^^^^^ utf-8',
        '[hear.8200]\nhost = "no host"\n        ^^^^^^^',
        '[[listen]]\nspeaks = "modem"\nrings = 8200\n        ^^^^',
        '[hear.8201]\n[[listen]]\nspeaks = "modem"\nrings = 8200\n        ^^^^',
        "[hear.8200]\n[[listen]]\nrings = 8200\n^^^^^",
        "[hear.8200]\n[[listen]]\nport = 8200\n       ^^^^",
        "[hear.8128]\n[[listen]]\n  ^^^^^^",
        "[hear.8128]\n      ^^^^",
    ],
)
def test_mistakes(snippet: str) -> None:
    check(snippet)


def test_one_port_at_two_addresses_is_no_mistake() -> None:
    found = load('[hear.8200]\nhost = "127.0.0.2"\n[[listen]]\nport = 8200\n')
    assert found.reserved[8200].host == "127.0.0.2"


def test_two_brackets_for_one() -> None:
    (mistake,) = mistakes("[[hear]]\nport = 8200\n")
    assert (mistake.found, mistake.allowed) == ("a list of tables: [[ ]] for [ ]", "a table: [hear.PORT]")
