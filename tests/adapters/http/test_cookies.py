"""Cookies within one chain (RFC 6265)."""

import httpx

from adapters.http.cookies import ChainCookies

A = httpx.URL("http://a.example/shop/start")


def test_none_is_none() -> None:
    cookies = ChainCookies()
    cookies.keep(A, [(b"Location", b"/x")])
    assert cookies.header(A) == ""


def test_a_cookie_goes_where_it_may() -> None:
    cookies = ChainCookies()
    cookies.keep(A, [(b"Set-Cookie", b"s=1; Path=/"), (b"set-cookie", b"t=2; Path=/shop")])
    assert set(cookies.header(A).split("; ")) == {"s=1", "t=2"}
    assert cookies.header(httpx.URL("http://a.example/other")) == "s=1"
    assert cookies.header(httpx.URL("http://b.example/shop/")) == ""


def test_a_secure_cookie_stays_inside_tls() -> None:
    """Section 5.4."""
    cookies = ChainCookies()
    cookies.keep(httpx.URL("https://a.example/"), [(b"Set-Cookie", b"s=1; Secure; Path=/")])
    assert cookies.header(httpx.URL("https://a.example/")) == "s=1"
    assert cookies.header(httpx.URL("http://a.example/")) == ""


def test_a_cookie_for_somebody_else_is_refused() -> None:
    """Section 5.3 step 6."""
    cookies = ChainCookies()
    cookies.keep(A, [(b"Set-Cookie", b"s=1; Domain=b.example; Path=/")])
    assert cookies.header(httpx.URL("http://b.example/")) == ""


def test_a_cookie_goes_back_byte_for_byte() -> None:
    """Section 4.1.1 has ASCII only; what is sent all the same is not re-coded."""
    cookies = ChainCookies()
    cookies.keep(A, [(b"Set-Cookie", b"s=\xc3\xa9; Path=/")])
    assert cookies.header(A).encode("latin-1") == b"s=\xc3\xa9"


def test_garbage_sets_nothing_and_breaks_nothing() -> None:
    cookies = ChainCookies()
    for value in (b"", b";", b"=", b"\xff\xfe=\xfd", b"a" * 5000, b"x; Expires=never", b"y=1; Max-Age=x"):
        cookies.keep(A, [(b"Set-Cookie", value)])
    assert "\n" not in cookies.header(A)
    assert "\xff\xfe=\xfd" in cookies.header(A)
