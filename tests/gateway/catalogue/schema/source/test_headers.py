"""headers: names by RFC 9110 section 5.1, none that the gateway sets itself."""

import pytest

from tests.gateway.catalogue.marked import check, load, source

WRONG = {
    "blank in a name": "headers = { 'a b' = 'x' }\n            ^^^^^",
    "colon in a name": "headers = { 'a:' = 'x' }\n            ^^^^",
    "empty name": "headers = { '' = 'x' }\n            ^^",
    "twice": "headers = { X-A = 'x', x-a = 'y' }\n                       ^^^",
    "beyond ASCII": "headers = { X = 'é' }\n                 ^",
    "line end": 'headers = { X = "a\\r\\nEvil: 1" }\n                  ^^',
    "authorization": "headers = { Authorization = 'Bearer x' }\n            ^^^^^^^^^^^^^ auth",
    "no arg": "headers = { X = 'a {day} b' }\n                    ^^^",
}


@pytest.mark.parametrize("lines", WRONG.values(), ids=WRONG.keys())
def test_mistakes(lines: str) -> None:
    check(source(lines))


@pytest.mark.parametrize(
    "name", ["Host", "content-length", "Transfer-Encoding", "CONNECTION", "If-None-Match", "TE"]
)
def test_forbidden(name: str) -> None:
    check(source(f"headers = {{ {name} = 'x' }}\n            {'^' * len(name)}"))


def test_what_is_read() -> None:
    read = load(source("args = ['day']\nheaders = { X-Day = ' {day} ', Accept = 'text/x', X-N = 5 }"))
    assert read.sources["A"].headers == (("X-Day", "{day}"), ("Accept", "text/x"), ("X-N", "5"))
