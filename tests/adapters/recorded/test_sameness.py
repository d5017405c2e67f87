from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from adapters.files import Listing
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Headers, Message, Told
from adapters.recorded.sameness import same_again
from tests.adapters.recorded.exchanges import NOON, got

ONE = got("http://tides.example/")


def said(*headers: tuple[str, str]) -> Exchange:
    return replace(ONE, reply=Message(200, headers, Content(b"{}")))


def test_when_and_for_whom_does_not_matter() -> None:
    again = replace(ONE, at=NOON + timedelta(1), took=9.0, times=3, asked=replace(ONE.asked, request="ASK"))
    assert same_again(ONE, again)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ((("Date", "a"), ("Age", "1"), ("ETag", "x")), (("date", "b"), ("etag", "x")), True),
        ((("ETag", "x"),), (("ETag", "y"),), False),
        ((("Set-Cookie", "a=hidden-1"),), (("Set-Cookie", "a=hidden-2"),), False),
        (
            (("Date", "Sun, 17 May 2026 12:00:00 GMT"), ("Expires", "Sun, 17 May 2026 12:05:00 GMT")),
            (("Date", "Sun, 17 May 2026 13:00:00 GMT"), ("Expires", "Sun, 17 May 2026 13:05:00 GMT")),
            True,
        ),
        (
            (("Date", "Sun, 17 May 2026 12:00:00 GMT"), ("Expires", "Sun, 17 May 2026 12:05:00 GMT")),
            (("Date", "Sun, 17 May 2026 13:00:00 GMT"), ("Expires", "Sun, 17 May 2026 13:06:00 GMT")),
            False,
        ),
        ((("Expires", "0"),), (("Expires", "-1"),), False),
        ((("Date", "0"), ("Expires", "0")), (("Date", "1"), ("Expires", "0")), True),
    ],
)
def test_headers(one: Headers, other: Headers, same: bool) -> None:
    assert same_again(said(*one), said(*other)) is same


@pytest.mark.parametrize(
    "other",
    [
        replace(ONE, asked=replace(ONE.asked, headers=(("Accept", "text/plain"),))),
        replace(ONE, asked=replace(ONE.asked, offset=1)),
        replace(ONE, reply=Message(201, (("Content-Type", "application/json"),), Content(b"{}"))),
        replace(ONE, reply=Message(200, (("Content-Type", "application/json"),), Content(b"[]"))),
        replace(ONE, reply=Failure("TooSlow", "")),
        replace(ONE, reply=Told(content=Content(b"{}"))),
    ],
)
def test_what_differs(other: Exchange) -> None:
    assert not same_again(ONE, other)
    assert same_again(other, other)


def test_listings() -> None:
    one = Exchange(Asked("LIST", "ftp://a.example/"), Told(listing=Listing(())), NOON)
    assert same_again(one, replace(one, took=1.0))
    assert not same_again(one, replace(one, reply=Told(listing=Listing((), partial=True))))


def test_a_body_that_is_gone(tmp_path: Path) -> None:
    gone = replace(
        ONE, reply=Message(200, (("Content-Type", "application/json"),), Content(path=tmp_path / "x"))
    )
    assert not same_again(gone, ONE)
