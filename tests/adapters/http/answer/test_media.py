"""Content-Type (RFC 9110 section 8.3.1)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.http.answer.media import media_type


# the RFC's own four spellings of one type, with the charset "as the server named it"
@pytest.mark.parametrize(
    ("value", "charset"),
    [
        ("text/html;charset=utf-8", "utf-8"),
        ('Text/HTML;Charset="utf-8"', "utf-8"),
        ('text/html; charset="utf-8"', "utf-8"),
        ("text/html;charset=UTF-8", "UTF-8"),
    ],
)
def test_the_rfc_s_examples(value: str, charset: str) -> None:
    assert media_type(value) == ("text/html", charset)


@pytest.mark.parametrize(
    ("value", "found"),
    [
        (None, ("", None)),
        ("", ("", None)),
        ("json", ("", None)),
        ("application/json", ("application/json", None)),
        (" application/JSON ", ("application/json", None)),
        ("application/json;", ("application/json", None)),
        ("application/vnd.api+json; version=1; charset = latin1", ("application/vnd.api+json", "latin1")),
        ("text/html; charset='utf-8'", ("text/html", "utf-8")),
        ('text/html; x="; charset=a"; charset=b', ("text/html", "b")),
        ('text/html; charset="a\\"b"', ("text/html", 'a"b')),
        ("text/html; charset=a; charset=b", ("text/html", "a")),
        ("text/html; charset=", ("text/html", None)),
        ('text/html; charset=""', ("text/html", None)),
        ("text/html; notcharset=a", ("text/html", None)),
        ("text/html, text/plain", ("text/html", None)),
        ("text html", ("", None)),
        ("*/*", ("*/*", None)),
    ],
)
def test_what_servers_send(value: str | None, found: tuple[str, str | None]) -> None:
    assert media_type(value) == found


@given(st.text(alphabet=st.sampled_from('text/html;charset="\\= é\x00,'), max_size=300))
def test_no_value_is_too_odd(value: str) -> None:
    kind, charset = media_type(value)
    assert kind == kind.lower()
    assert charset != ""


def test_a_long_garbled_value_takes_no_time() -> None:
    assert media_type("text/html;" + 'charset="\\' * 6000)[0] == "text/html"
