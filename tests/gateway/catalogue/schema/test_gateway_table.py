"""[gateway]: hosts, networks, spellings."""

import pytest

from gateway.catalogue.model import GatewaySettings
from tests.gateway.catalogue.marked import check, load

WRONG = {
    "urls with a URL": 'urls = ["https://data.example/x"]\n         ^^^^^^^^^^^^^^^^^^^^^^ data.example',
    "urls with a port": 'urls = ["data.example:80"]\n              ^^^^^^^^^^',
    "urls with a star inside": 'urls = ["data.*.example"]\n              ^',
    "urls with only a star": 'urls = ["*"]\n         ^',
    "urls beyond ASCII": 'urls = ["bücher.example"]\n         ^^^^^^^^^^^^^^ xn--bcher-kva.example',
    "allow with host bits": 'allow = ["192.0.2.5/24"]\n          ^^^^^^^^^^^^ 192.0.2.0/24',
    "allow with a bad network": 'allow = ["192.0.2.0/33"]\n          ^^^^^^^^^^^^',
    "allow with a short address": 'allow = ["10.1"]\n          ^^^^',
    "letters of two": 'letters = { "ue" = "x" }\n            ^^^^',
    "letters made of letters": 'letters = { "ä" = "æ" }\n                   ^',
    "letters made of controls": 'letters = { "ä" = "a\\tb" }\n                    ^^',
    "wait": "wait = 0\n       ^ 1",
    "wait for days": "wait = '2d'\n        ^^ 3600",
    "no clients": "clients = 0\n          ^ 1",
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(f"[gateway]\n{lines}")


def test_everything_has_a_default() -> None:
    assert load("").gateway == load("[gateway]\n").gateway == GatewaySettings()


def test_what_is_read() -> None:
    gateway = load("""
[gateway]
urls = ["Data.Example.", "*.open.example", "127.0.0.1", "[2001:DB8::1]"]
allow = ["192.0.2.0/24", "2001:db8::/32", "192.0.2.7", "2001:DB8::1", "Printer.example"]
state = "elsewhere"
wait = "1m"
letters = { "ü" = "ue", "u\u0308" = "ue", "€" = "EUR", "¿" = "" }
clients = 7
idle = "2h"
stall = 5
""").gateway
    assert gateway.urls == ("data.example", "*.open.example", "127.0.0.1", "2001:db8::1")
    assert gateway.allow == ("192.0.2.0/24", "2001:db8::/32", "192.0.2.7", "2001:db8::1", "printer.example")
    assert gateway.letters == {"ü": "ue", "€": "EUR", "¿": ""}
    assert (gateway.state, gateway.wait, gateway.clients) == ("elsewhere", 60.0, 7)
    assert (gateway.idle, gateway.stall) == (7_200.0, 5.0)


@pytest.mark.parametrize(("url", "near"), [("https://Data.example/x", "data.example"), ("https://", "-")])
def test_a_url_in_the_place_of_a_host_is_told_its_host(url: str, near: str) -> None:
    check(f"""
[gateway]
urls = ["{url}"]
         {"^" * len(url)} {near}
""")
