"""Which answer is played, and what a server makes of it (RFC 9110 sections 13 and 14)."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from adapters.recorded.exchange import Asked, Content, Exchange, Message
from adapters.recorded.http.choosing import fitting, served

AT = datetime(2024, 5, 17, 5, 0, tzinfo=UTC)
URL = "http://a.example/x"
TAG = ("ETag", '"v1"')
DATED = ("Last-Modified", "Fri, 17 May 2024 05:00:00 GMT")


def kept(number: int, status: int = 200, **headers: str) -> Exchange:
    asked = Asked("GET", URL, tuple((name.replace("_", "-"), value) for name, value in headers.items()))
    content = None if status == 304 else Content(str(number).encode())
    return Exchange(asked, Message(status, content=content), AT + timedelta(seconds=number))


def fit(found: list[Exchange], *headers: tuple[str, str]) -> list[int]:
    return [(each.at - AT).seconds for each in fitting(Asked("GET", URL, headers), found)]


def test_unchanged_answers_only_who_asks_for_that() -> None:
    found = [kept(1), kept(2, 304)]
    assert fit(found) == [1]
    assert fit(found, ("If-None-Match", '"v1"')) == [1, 2]
    assert fit(found[1:]) == []


def test_a_part_answers_only_for_itself_and_goes_before_the_whole() -> None:
    found = [kept(1), kept(2, 206, range="bytes=0-4")]
    assert fit(found) == [1]
    assert fit(found, ("Range", "bytes=0-4")) == [2]
    assert fit(found, ("Range", "bytes=0-5")) == [1]


def test_those_with_the_same_cookies_go_before_others() -> None:
    found = [kept(1), kept(2, cookie="seat=1"), kept(3, cookie="seat=2")]
    assert fit(found) == [1]
    assert fit(found, ("Cookie", "seat=2")) == [3]
    assert fit(found, ("Cookie", "seat=3")) == [1, 2, 3]


def test_the_same_order_of_a_query_goes_before_another() -> None:
    turned = replace(kept(2), asked=Asked("GET", f"{URL}?by=size&by=name"))
    found = [replace(kept(1), asked=Asked("GET", f"{URL}?by=name&by=size")), turned]
    assert [(each.at - AT).seconds for each in fitting(turned.asked, found)] == [2]
    other = Asked("GET", f"{URL}?by=name&%62y=size")
    assert [(each.at - AT).seconds for each in fitting(other, found)] == [1]
    assert len(fitting(Asked("GET", f"{URL}?by=***&by=size"), found)) == 2


@pytest.mark.parametrize(
    ("wanted", "status", "told", "part"),
    [
        ("bytes=0-4", 206, "bytes 0-4/10", b"01234"),
        ("bytes=7-", 206, "bytes 7-9/10", b"789"),
        ("bytes=7-99", 206, "bytes 7-9/10", b"789"),
        ("bytes=10-", 416, "bytes */10", b""),
        ("bytes=-3", 200, None, b"0123456789"),  # a server may ignore Range, section 14.2
        ("lines=1-2", 200, None, b"0123456789"),
    ],
)
def test_parts_of_a_whole(wanted: str, status: int, told: str | None, part: bytes) -> None:
    message, piece = served(
        Asked("GET", URL, (("Range", wanted),)), Message(200, content=Content(b"0123456789"))
    )
    assert message.status == status
    assert dict(message.headers).get("Content-Range") == told
    data = b"" if piece.content is None else piece.content.read()[piece.start : piece.end]
    assert data == part


@pytest.mark.parametrize(
    ("condition", "status"),
    [
        (("If-None-Match", '"v1"'), 304),
        (("If-None-Match", 'W/"v1"'), 304),  # compared weakly, section 13.1.2
        (("If-None-Match", '"v0", "v1"'), 304),
        (("If-None-Match", "*"), 304),
        (("If-None-Match", '"v2"'), 200),
        (("If-Modified-Since", "Fri, 17 May 2024 05:00:00 GMT"), 304),
        (("If-Modified-Since", "Fri, 17 May 2024 04:59:59 GMT"), 200),
        (("If-Modified-Since", "some day"), 200),
    ],
)
def test_conditions(condition: tuple[str, str], status: int) -> None:
    kept_message = Message(200, (TAG, DATED), Content(b"x"))
    assert served(Asked("GET", URL, (condition,)), kept_message)[0].status == status


@pytest.mark.parametrize(("tag", "status"), [('"v1"', 206), ('"v2"', 200)])
def test_if_range(tag: str, status: int) -> None:
    asked = Asked("GET", URL, (("Range", "bytes=1-2"), ("If-Range", tag)))
    assert served(asked, Message(200, (TAG,), Content(b"0123")))[0].status == status


def test_errors_stay_as_they_are() -> None:
    message = Message(404, (TAG,), Content(b"none"))
    assert served(Asked("GET", URL, (("Range", "bytes=0-1"),)), message)[0] == message
