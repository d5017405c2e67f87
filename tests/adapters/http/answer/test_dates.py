"""HTTP dates as Expires uses them; the rest is in test_retry_after.py, beside the case."""

from datetime import UTC, datetime

import pytest

from adapters.http.answer.dates import http_date

NOW = datetime(2026, 11, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "0",
        "-1",
        "now",
        "06 Nov 1994",
        "Sun, 06 Nov 1994",
        "1994-11-06T08:49:37Z",
        "Sun, 06 Foo 1994 08:49:37 GMT",
    ],
)
def test_what_is_no_http_date(text: str) -> None:
    assert http_date(text, NOW) is None


@pytest.mark.parametrize(
    "text",
    ["sun, 06 nov 1994 08:49:37 gmt", " Sun, 6 Nov 1994 08:49:37 GMT ", "Sun, 06 Nov 1994 08:49:37 UTC"],
)
def test_what_servers_write_instead(text: str) -> None:
    """RFC 9110 section 5.6.7 asks recipients to be robust; these forms are common practice."""
    assert http_date(text, NOW) == datetime(1994, 11, 6, 8, 49, 37, tzinfo=UTC)
