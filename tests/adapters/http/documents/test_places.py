"""A target is inside of its root (what every adapter keeps: nothing outside of a place is touched)."""

import pytest

from adapters.errors import HeadraceError, NotAllowed, WrongWords
from adapters.files import Target
from adapters.http.documents.places import as_folder, checked, is_folder_url, parent

ROOT = "http://files.example/pub/"


@pytest.mark.parametrize(
    "url",
    [
        "http://files.example/pub/",
        "http://files.example/pub",
        "http://files.example/pub/a/b.txt",
        "http://FILES.example:80/pub/a?b=..",
        "http://files.example/p%75b/a",
        "http://files.example/pub/...",
        "http://files.example/pub/a..b",
        "http://files.example/pub/%252e%252e",
    ],
)
def test_inside(url: str) -> None:
    target = Target(url, ROOT)
    assert checked(target) is target


@pytest.mark.parametrize(
    "url",
    [
        "http://files.example/",
        "http://files.example/public/a",
        "http://files.example/PUB/a",
        "http://files.example/pub/../etc",
        "http://files.example/pub/%2e%2E/etc",
        "http://files.example/pub/a/..",
        "http://files.example/pub/./a",
        "http://files.example/pub/a%2f..%2f..%2fetc",
        "http://files.example/pub/..%5cetc",
        "https://files.example/pub/a",
        "http://files.example:81/pub/a",
        "http://other.example/pub/a",
    ],
)
def test_outside(url: str) -> None:
    with pytest.raises(NotAllowed):
        checked(Target(url, ROOT))


@pytest.mark.parametrize(
    "url", ["", "ftp://files.example/pub/a", "http:///pub/a", "http://files.example:x/pub/"]
)
def test_no_url_of_these_schemes(url: str) -> None:
    for root in (ROOT, ""):
        with pytest.raises((WrongWords, NotAllowed)) as caught:
            checked(Target(url, root))
        assert isinstance(caught.value, HeadraceError)


def test_a_url_that_a_client_typed_has_no_place() -> None:
    target = Target("http://site.example/a", "")
    assert checked(target) is target


@pytest.mark.parametrize(
    ("url", "folder"),
    [
        ("http://a.example", False),
        ("http://a.example/", True),
        ("http://a.example/x", False),
        ("http://a.example/x/", True),
        ("http://a.example/x/?y", True),
        ("http://a.example/x?y/", False),
        ("http://a.example/x#y/", False),
    ],
)
def test_what_ends_in_a_slash(url: str, folder: bool) -> None:
    assert is_folder_url(url) is (folder or url == "http://a.example")


def test_as_a_folder() -> None:
    assert as_folder(Target("http://a.example/x", "")).url == "http://a.example/x/"
    assert as_folder(Target("http://a.example/x/", "")).url == "http://a.example/x/"
    assert as_folder(Target("http://a.example/x?list=1", "")).url == "http://a.example/x?list=1"


def test_the_folder_that_it_is_in() -> None:
    for url in ("http://a.example/x/y", "http://a.example/x/y/", "http://a.example/x/y?z=/"):
        assert parent(Target(url, "")).url == "http://a.example/x/"
