"""URLs that can be fetched (RFC 3986, RFC 9110 section 4.2)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import WrongWords
from adapters.http.urls import origin_text, parsed_url, resolved, url_origin, url_port
from tests.adapters.http.test_redirects import BASE, RESOLVED


@pytest.mark.parametrize(
    ("text", "target", "origin"),
    [
        ("http://ex.example", b"/", "http://ex.example:80"),
        ("HTTPS://EX.example:443/A?b#c", b"/A?b", "https://ex.example:443"),
        ("http://ex.example:8080/a%20b/%C3%A4?q=%26", b"/a%20b/%C3%A4?q=%26", "http://ex.example:8080"),
        ("http://ex.example/a b/ä?q=x y", b"/a%20b/%C3%A4?q=x%20y", "http://ex.example:80"),
        ("http://[::1]:81/", b"/", "http://[::1]:81"),
        ("http://bücher.example/", b"/", "http://xn--bcher-kva.example:80"),
    ],
)
def test_what_is_fetched(text: str, target: bytes, origin: str) -> None:
    url = parsed_url(text)
    assert url.raw_path == target
    assert origin_text(url_origin(url)) == origin


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            "x",
            "/path",
            "//ex.example/",
            "http:",
            "http:/a",
            "http:///a",
            "ftp://ex.example/",
            "file:///a",
        ),
        *("http://ex.example:0/", "http://ex.example:65536/", "http://ex.example:x/", "http://[::1/"),
        *("http://ex.example/\r\nX: y", "http://ex\r.example/", "http://ex.example/\0", "http://[x]/"),
        *(
            "http://１２７.0.0.1/",
            "http://ex\u2028.example/",
            "http://u:p@ex.example/",
            "http://u@ex.example/",
        ),
        *("http://ex.example/\x7f", "http://ex.example/" + "a" * 70_000),
    ],
)
def test_what_is_not(text: str) -> None:
    with pytest.raises(WrongWords) as caught:
        parsed_url(text)
    assert len(caught.value.sentence) <= 40


def test_ports_left_to_the_scheme() -> None:
    assert url_port(parsed_url("http://ex.example/")) == 80
    assert url_port(parsed_url("https://ex.example/")) == 443
    assert url_port(parsed_url("https://ex.example:80/")) == 80


@given(st.text(max_size=80), st.sampled_from(["http://", "https://h/", "http://h:1/?", ""]))
def test_no_text_is_too_odd(text: str, start: str) -> None:
    try:
        url = parsed_url(start + text)
    except WrongWords:
        return
    assert url.scheme in ("http", "https")
    for part in (url.raw_path, url.netloc):
        assert all(0x20 < byte < 0x7F for byte in part)


@pytest.mark.parametrize(("reference", "path"), RESOLVED.items())
def test_references_are_resolved(reference: str, path: str) -> None:
    """RFC 3986 section 5.4, its examples with a path; fragments are not kept."""
    assert resolved(BASE, reference) == f"http://a.example{path}"


@pytest.mark.parametrize(
    ("reference", "url"),
    [
        ("g:h", "g:h"),
        ("//g", "http://g"),
        ("http:g", "http:g"),  # "for strict parsers", section 5.4.2
        ("https://x.example/a/../b?c#d", "https://x.example/b?c"),
        ("a;", "http://a.example/b/c/a;"),
    ],
)
def test_references_to_elsewhere(reference: str, url: str) -> None:
    assert resolved(BASE, reference) == url


def test_a_base_without_a_path() -> None:
    """RFC 3986 section 5.2.3."""
    assert resolved("http://a.example", "g") == "http://a.example/g"


@given(st.text(max_size=60))
def test_any_reference_is_resolved_somehow(reference: str) -> None:
    assert ":" in resolved(BASE, reference)
