"""Dates of an answer move with it."""

from datetime import UTC, datetime, timedelta

from adapters.recorded.http.times import moved

THEN = datetime(2024, 5, 17, 5, 0, tzinfo=UTC)


def test_dates_move_and_the_rest_stays() -> None:
    headers = (
        ("Date", "Fri, 17 May 2024 05:00:01 GMT"),  # IMF-fixdate, RFC 9110 section 5.6.7
        ("expires", "Fri, 17 May 2024 05:10:00 GMT"),
        ("Retry-After", "Fri, 17 May 2024 05:02:00 GMT"),
        ("Last-Modified", "Fri, 17 May 2024 04:00:00 GMT"),
    )
    assert moved(headers, THEN, THEN + timedelta(days=1, minutes=5)) == (
        ("Date", "Sat, 18 May 2024 05:05:01 GMT"),
        ("expires", "Sat, 18 May 2024 05:15:00 GMT"),
        ("Retry-After", "Sat, 18 May 2024 05:07:00 GMT"),
        ("Last-Modified", "Fri, 17 May 2024 04:00:00 GMT"),
    )


def test_no_dates_are_left_alone() -> None:
    headers = (("Retry-After", "120"), ("Expires", "0"), ("Expires", "-1"), ("Date", "soon"), ("Date", ""))
    assert moved(headers, THEN, THEN + timedelta(days=1)) == headers


def test_out_of_the_calendar() -> None:
    headers = (("Expires", "Fri, 31 Dec 9999 23:59:59 GMT"),)
    assert moved(headers, THEN, THEN + timedelta(days=400)) == headers


def test_what_a_cookie_has_left_is_told_in_seconds() -> None:
    """RFC 6265 section 5.2.2: Max-Age; dates with hyphens are common practice (section 5.1.1 takes them)."""
    headers = (
        ("Set-Cookie", "sid=a; Path=/; Expires=Fri, 17 May 2024 05:00:04 GMT; Secure"),
        ("set-cookie", "sid=b; expires=Fri, 17-May-2024 06:00:00 GMT"),
        ("Set-Cookie", "sid=; Expires=Thu, 01 Jan 1970 00:00:00 GMT"),
        ("Set-Cookie", "expires=Fri, 17 May 2024 05:00:04 GMT; Path=/"),
        ("Set-Cookie", "sid=c; Expires=soon"),
    )
    assert moved(headers, THEN, THEN + timedelta(days=100)) == (
        ("Set-Cookie", "sid=a; Path=/; Max-Age=4; Secure"),
        ("set-cookie", "sid=b; Max-Age=3600"),
        ("Set-Cookie", "sid=; Max-Age=0"),
        ("Set-Cookie", "expires=Fri, 17 May 2024 05:00:04 GMT; Path=/"),
        ("Set-Cookie", "sid=c; Expires=soon"),
    )
