"""httpcore's requests as they are kept."""

from collections.abc import AsyncIterator

import httpcore
import pytest

from adapters.recorded.exchange import Content
from adapters.recorded.http.requests import SentBody, asked_of, url_of


@pytest.mark.parametrize(
    ("url", "told"),
    [
        ("http://a.example/x?y=1", "http://a.example/x?y=1"),
        ("http://a.example:80/", "http://a.example/"),
        ("http://a.example:8080/", "http://a.example:8080/"),
        ("https://a.example:443/", "https://a.example/"),
        ("https://a.example:80/", "https://a.example:80/"),
        ("http://[2001:db8::1]:81/", "http://[2001:db8::1]:81/"),
    ],
)
def test_the_port_only_where_it_is_not_the_usual_one(url: str, told: str) -> None:
    assert url_of(httpcore.Request("GET", url)) == told


def test_headers_are_latin_1() -> None:
    request = httpcore.Request("PUT", "http://a.example/", headers=[(b"X-Town", b"M\xf6we")])
    asked = asked_of(request, Content(b"x"))
    assert (asked.method, asked.headers, asked.body) == ("PUT", (("X-Town", "M\xf6we"),), Content(b"x"))


async def test_a_body_that_is_sent_again_counts_once() -> None:
    class Twice:
        async def __aiter__(self) -> AsyncIterator[bytes]:
            yield b"one "
            yield b"two"

    sent = SentBody(Twice())
    assert sent.content() is None
    for _ in range(2):
        assert [chunk async for chunk in sent] == [b"one ", b"two"]
    assert sent.content() == Content(b"one two")
    sent.close()
