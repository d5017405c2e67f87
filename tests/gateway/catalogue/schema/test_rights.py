"""[rights.NAME], and what listeners say of rights and networks."""

import ipaddress

import pytest

from gateway.catalogue.access import Rights
from tests.gateway.catalogue.marked import check, load

OTHERS = """[place.club]
base = "ftp://files.example/"
[place.wire]
base = "tcp://board.example:2323"
[hear.8200]
[source.tides]
url = "https://tides.example/"
[[source.tides.field]]
name = "N"
at = "$.n"
width = 4
"""


def test_keys_and_defaults() -> None:
    assert load("").rights == {}
    least = Rights(write=(), streams=(), urls=())
    assert load("[rights.guests]\n").rights == {"GUESTS": least}
    text = """[rights.Crew]
sources = ["Tides", "news-*"]
places = []
write = ["club:", "tides"]
streams = ["wire", "8200"]
urls = ["*.Example", "192.0.2.7"]
rate = 30
requests = 500
bytes = 1_000_000
"""
    full = Rights(
        ("TIDES", "NEWS-*"),
        (),
        ("CLUB", "TIDES"),
        ("WIRE", "8200"),
        ("*.example", "192.0.2.7"),
        500,
        10**6,
        30,
    )
    assert load(OTHERS + text).rights == {"CREW": full}


def test_who_has_which() -> None:
    (listener,) = load(
        '[rights.guests]\n[rights.crew]\n[[listen]]\nrights = "guests"\nnetworks = ["192.0.2.0/24", "::1"]\n'
        'rights_by_address = { "192.0.2.0/28" = "crew" }\n'
    ).listeners
    assert listener.rights_for("192.0.2.7") == "CREW"
    assert listener.rights_for("::ffff:192.0.2.7") == "CREW"  # RFC 4291 section 2.5.5.2
    assert listener.rights_for("192.0.2.77") == "GUESTS"
    assert listener.rights_for("") == "GUESTS"
    assert [listener.admits(each) for each in ("192.0.2.200", "::1", "::ffff:192.0.2.1", "")] == [True] * 4
    assert [listener.admits(each) for each in ("192.0.3.1", "::2", "fe80::1%eth0")] == [False] * 3
    (plain,) = load("").listeners
    assert (plain.rights_for("192.0.2.7"), plain.networks, plain.admits("203.0.113.9")) == ("", None, True)
    (closed,) = load("[[listen]]\nnetworks = []\n").listeners
    assert not closed.admits("127.0.0.1")
    assert ipaddress.ip_network("192.0.2.0/24") in (listener.networks or ())


@pytest.mark.parametrize(
    "snippet",
    [
        '[[listen]]\nrights = "crew"\n          ^^^^',
        '[rights.crew]\n[[listen]]\nrights = "crow"\n          ^^^^ crew',
        '[rights.crew]\n[[listen]]\nrights_by_address = { "192.0.2.7" = "crow" }\n'
        "                                     ^^^^ crew",
        '[[listen]]\nnetworks = ["192.0.2.7/24"]\n             ^^^^^^^^^^^^ 192.0.2.0/24',
        '[[listen]]\nnetworks = ["everywhere"]\n             ^^^^^^^^^^',
        '[[listen]]\nnetworks = "192.0.2.0/24"\n            ^^^^^^^^^^^^ ["192.0.2.0/24"]',
        '[[listen]]\ndevice = "/dev/x"\nnetworks = []\n^^^^^^^^',
        '[rights.crew]\nsources = ["tides"]\n            ^^^^^',
        '[rights.crew]\nsources = ["all of them"]\n            ^^^^^^^^^^^',
        "[rights.crew]\nread = []\n^^^^ places",
        "[rights.crew]\nrate = 0\n       ^ 1",
        '[rights.crew]\nurls = ["https://x.example/"]\n         ^^^^^^^^^^^^^^^^^^',
        "[rights]\ncrew = 1\n^^^^",
    ],
)
def test_mistakes(snippet: str) -> None:
    check(snippet)


def test_names_that_are_not_there() -> None:
    check(OTHERS + '[rights.crew]\nplaces = ["clob"]\n           ^^^^ club')
    check(OTHERS + '[rights.crew]\nwrite = ["tydes"]\n          ^^^^^ tides')
    check(OTHERS + '[rights.crew]\nstreams = ["8201"]\n            ^^^^ 8200')
