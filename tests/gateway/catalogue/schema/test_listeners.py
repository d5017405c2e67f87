"""[[listen]]: hosts, profiles, clashes."""

import pytest

from gateway.catalogue.model import Listener
from tests.gateway.catalogue.marked import check, load

WRONG = {
    "not a list": "[listen]\n ^^^^^^ [[listen]]\nport = 1",
    "port": "[[listen]]\nport = 65536\n       ^^^^^ 65535",
    "host": '[[listen]]\nhost = "a b"\n        ^^^',
    "host with a port": '[[listen]]\nhost = "127.0.0.1:80"\n                ^^^^',
    "profile": '[[listen]]\nprofile = "narow"\n           ^^^^^ narrow\n[profile.narrow]',
    "resume": "[[listen]]\nresume = true\n^^^^^^",
    "speaks": '[[listen]]\nspeaks = "x"\n^^^^^^',
    "device": '[[listen]]\ndevice = "x"\n^^^^^^',
    "the same twice": "[[listen]]\nport = 7\n[[listen]]\nport = 7\n       ^",
    "defaults twice": "[[listen]]\n[[listen]]\n  ^^^^^^",
    "all addresses": '[[listen]]\nport = 7\n[[listen]]\nhost = "0.0.0.0"\nport = 7\n       ^',
    "the same by name": '[[listen]]\nport = 7\n[[listen]]\nhost = "localhost"\nport = 7\n       ^',
}


@pytest.mark.parametrize("snippet", WRONG.values(), ids=WRONG.keys())
def test_mistakes(snippet: str) -> None:
    check(snippet)


def test_later_keys_say_so() -> None:
    (mistake,) = check("[[listen]]\nresume = true\n^^^^^^")
    assert mistake.found == "not in this version yet"


def test_none_means_one() -> None:
    assert load("").listeners == (Listener("127.0.0.1", 8128, "PLAIN", greeting=False),)


def test_what_is_read() -> None:
    listeners = load("""
[[listen]]
host = "::1"
port = 0
profile = "NARROW"
greeting = true
[[listen]]
port = 0
[[listen]]
host = "192.0.2.1"
port = 99
[[listen]]
host = "gate.example"
port = 99
[profile.narrow]
""").listeners
    assert listeners == (
        Listener("::1", 0, "NARROW", greeting=True),
        Listener("127.0.0.1", 0),
        Listener("192.0.2.1", 99),
        Listener("gate.example", 99),
    )
