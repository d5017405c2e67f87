"""Links of a page as refs of its place."""

import pytest

from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Place
from gateway.service.files.links import link_refs, page_url


@pytest.mark.parametrize(
    ("url", "page"),
    [
        ("dav://h.example/a", "http://h.example/a"),
        ("davs://h.example/a", "https://h.example/a"),
        ("https://h.example/a", "https://h.example/a"),
        ("ftp://h.example/a", "ftp://h.example/a"),
    ],
)
def test_a_page_of_a_webdav_folder_links_by_http(url: str, page: str) -> None:
    assert page_url(url) == page


def test_links_into_the_place_are_short() -> None:
    place = Place("LEDGER", "davs://h.example/ledger/")
    links = ("https://h.example/ledger/a/b.txt", "https://h.example/other", "http://h.example/ledger/a")
    assert link_refs(Ref("davs://h.example/ledger/index.html", place), links) == (
        "LEDGER:a/b.txt",
        "https://h.example/other",
        "http://h.example/ledger/a",
    )


def test_without_a_place_they_are_urls() -> None:
    assert link_refs(Ref("https://h.example/"), ("https://h.example/x",)) == ("https://h.example/x",)
