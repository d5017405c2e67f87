"""httpcore's requests as they are kept."""

from collections.abc import AsyncIterable

import httpcore
import pytest

from adapters.recorded.exchange import Content
from adapters.recorded.http.requests import asked_of, copied, url_of


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


async def test_a_body_is_copied_as_it_is_sent() -> None:
    request = httpcore.Request("PUT", "http://a.example/", content=b"one two")
    with copied(request) as copy:
        assert asked_of(request, copy.content()).body is None
        assert isinstance(request.stream, AsyncIterable)
        assert [chunk async for chunk in request.stream] == [b"one two"]
        assert asked_of(request, copy.content()).body == Content(b"one two")
