"""Links: RFC 3986 section 5.4, and what gets a number."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.extract.texts.links import Links

# RFC 3986 section 5.4.1 and 5.4.2, base http://a/b/c/d;p?q, without those that have only a fragment or are
# for schemes that get no number; fragments are left out as this gateway does.
RFC_3986_5_4 = {
    "g": "http://a/b/c/g",
    "./g": "http://a/b/c/g",
    "g/": "http://a/b/c/g/",
    "/g": "http://a/g",
    "//g": "http://g",
    "?y": "http://a/b/c/d;p?y",
    "g?y": "http://a/b/c/g?y",
    "g#s": "http://a/b/c/g",
    "g?y#s": "http://a/b/c/g?y",
    ";x": "http://a/b/c/;x",
    "g;x": "http://a/b/c/g;x",
    "g;x?y#s": "http://a/b/c/g;x?y",
    ".": "http://a/b/c/",
    "./": "http://a/b/c/",
    "..": "http://a/b/",
    "../": "http://a/b/",
    "../g": "http://a/b/g",
    "../..": "http://a/",
    "../../": "http://a/",
    "../../g": "http://a/g",
    "../../../g": "http://a/g",
    "../../../../g": "http://a/g",
    "/./g": "http://a/g",
    "/../g": "http://a/g",
    "g.": "http://a/b/c/g.",
    ".g": "http://a/b/c/.g",
    "g..": "http://a/b/c/g..",
    "..g": "http://a/b/c/..g",
    "./../g": "http://a/b/g",
    "./g/.": "http://a/b/c/g/",
    "g/./h": "http://a/b/c/g/h",
    "g/../h": "http://a/b/c/h",
    "g;x=1/./y": "http://a/b/c/g;x=1/y",
    "g;x=1/../y": "http://a/b/c/y",
    "g?y/./x": "http://a/b/c/g?y/./x",
    "g?y/../x": "http://a/b/c/g?y/../x",
}


@pytest.mark.parametrize(("href", "url"), RFC_3986_5_4.items())
@pytest.mark.parametrize("scheme", ["http", "https", "ftp", "dav", "davs", "ftps"])
def test_references_are_resolved_as_the_rfc_says(href: str, url: str, scheme: str) -> None:
    links = Links(f"{scheme}://a/b/c/d;p?q")
    assert links.number(href) == 1
    assert links.found == [url.replace("http:", f"{scheme}:")]


@pytest.mark.parametrize(
    "href",
    [
        "",
        "#x",
        " #x ",
        "javascript:alert(1)",
        "JavaScript:x",
        "java\nscript:x",
        "mailto:a@b.example",
        "data:,x",
        *("tel:1", "about:blank", "file:///etc/passwd", "blob:x", "http://[", "http://[::1"),
    ],
)
def test_what_gets_no_number(href: str) -> None:
    links = Links("http://h.example/d/page.html")
    assert links.number(href) is None
    assert links.found == []


def test_a_link_to_the_document_itself_is_one_within_it() -> None:
    links = Links("http://h.example/d/page.html#top")
    assert links.number("page.html#part") is None
    assert links.number("page.html?x#part") == 1


def test_a_link_within_the_document_is_one_whatever_its_base() -> None:
    assert Links("http://h.example/d/page.html", "/files/").number("#part") is None


def test_numbers_go_up_and_a_url_may_have_two() -> None:
    links = Links("http://h.example/")
    assert [links.number(href) for href in ("a", "#x", "b", "a")] == [1, None, 2, 3]
    assert links.found == ["http://h.example/a", "http://h.example/b", "http://h.example/a"]


@pytest.mark.parametrize(
    ("base", "url"),
    [
        ("/files/", "http://h.example/files/x"),
        ("http://other.example/y/", "http://other.example/y/x"),
        ("#", "http://h.example/d/x"),
        ("javascript:x", "http://h.example/d/x"),
    ],
)
def test_a_base_goes_before_the_document_s_own_url(base: str, url: str) -> None:
    links = Links("http://h.example/d/page.html", base)
    links.number("x")
    assert links.found == [url]


def test_odd_characters_are_encoded_and_encoded_ones_left() -> None:
    links = Links("http://h.example/")
    links.number(' a b/é%20"?q=ü x\n')
    assert links.found == ["http://h.example/a%20b/%C3%A9%20%22?q=%C3%BC%20x"]


def test_a_document_of_another_scheme_links_to_its_own() -> None:
    links = Links("file:///pub/page.html")
    assert links.number("next.html") == 1
    assert links.found == ["file:///pub/next.html"]


def test_a_link_that_is_too_long_gets_no_number() -> None:
    links = Links("http://h.example/")
    assert links.number("x" * (limits.TEXT_LINK_CHARACTERS + 1)) is None
    assert links.number("é" * (limits.TEXT_LINK_CHARACTERS // 3)) is None  # six characters each, encoded


def test_too_many_links_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TEXT_LINKS", 2)
    links = Links("http://h.example/")
    assert [links.number(href) for href in "abc"] == [1, 2, None]
    assert links.full


@given(st.text(max_size=40), st.text(max_size=40))
def test_nothing_raises(href: str, base: str) -> None:
    links = Links("http://h.example/d/", base)
    links.number(href)
    assert all(url.isprintable() and "#" not in url for url in links.found)


def test_a_scheme_without_a_host_is_no_link() -> None:
    links = Links("http://h.example/d/")
    assert links.number("https:") is None
    assert links.number("https:path") is None
