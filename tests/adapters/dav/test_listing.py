"""Listings from multistatus bodies: the cases dav-*, RFC 4918 sections 5.2, 8.3, 9.1, 11, 13, and quirks."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes, urlsplit

import pytest

from adapters.dav.listing import Told, entries_of, stat_of
from adapters.dav.multistatus import Multistatus, read_multistatus
from adapters.errors import (
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    NotAllowed,
    NotThere,
    WrongDocument,
)
from adapters.files import Entry, Kind, quoted
from adapters.port import Validators
from tests.adapters.dav.test_multistatus import ALL_PROPERTIES, INCLUDED_PROPERTIES, NOW

CASES = Path(__file__).parents[2] / "cases"
URL = "http://dav.example.test/w/"


def case(name: str) -> tuple[Multistatus, dict[str, Any]]:
    folder = CASES / name
    answer = read_multistatus((folder / "propfind.xml").read_bytes(), NOW)
    return answer, json.loads((folder / "expected.json").read_text(encoding="utf-8"))


def told(*responses: str, url: str = URL) -> Told | None:
    return entries_of(multistatus(*responses), url)


def multistatus(*responses: str) -> Multistatus:
    body = f'<D:multistatus xmlns:D="DAV:">{"".join(responses)}</D:multistatus>'
    return read_multistatus(body.encode(), NOW)


def document(href: str, more: str = "<D:resourcetype/>") -> str:
    ok = "<D:status>HTTP/1.1 200 OK</D:status>"
    propstat = f"<D:propstat><D:prop>{more}</D:prop>{ok}</D:propstat>"
    return f"<D:response><D:href>{href}</D:href>{propstat}</D:response>"


def folder(href: str) -> str:
    return document(href, "<D:resourcetype><D:collection/></D:resourcetype>")


def failed(href: str, status: int) -> str:
    return f"<D:response><D:href>{href}</D:href><D:status>HTTP/1.1 {status} x</D:status></D:response>"


def names(listing: Told | None) -> list[bytes]:
    assert listing is not None
    return [each.name for each in listing.entries]


def as_read(name: bytes) -> str:
    """How the case wants names shown: UTF-8, else ISO 8859-1."""
    try:
        return name.decode("utf-8")
    except UnicodeDecodeError:
        return name.decode("latin-1")


def fetch_path(entry: Entry, url: str) -> str:
    """The path that a client's request for this entry has."""
    return urlsplit(entry.url or url + quoted(entry.name)).path


# The cases


def test_case_names_decode_once() -> None:
    answer, expected = case("dav-names-decode-once")
    listing = entries_of(answer, URL)
    assert listing is not None
    assert not listing.partial
    assert [as_read(each.name) for each in listing.entries] == expected["names"]
    assert [each.size for each in listing.entries] == expected["sizes"]
    by_size = {each.size: each for each in listing.entries}
    by_name = {as_read(each.name): each for each in listing.entries}
    for label, path in expected["fetch_path"].items():
        name, _, size = label.partition(" (size ")
        entry = by_size[int(size.rstrip(")"))] if size else by_name[name]
        assert unquote_to_bytes(fetch_path(entry, URL)) == unquote_to_bytes(path)
        assert fetch_path(entry, URL).upper() == path.upper()


def test_case_self_and_href_forms() -> None:
    answer, expected = case("dav-self-and-href-forms")
    url = expected["request_url"]
    listing = entries_of(answer, url)
    assert listing is not None
    assert not listing.partial
    children = [
        [
            {Kind.FILE: "f", Kind.FOLDER: "d"}[each.kind],
            each.name.decode(),
            each.size,
            None if each.modified is None else each.modified.strftime("%Y-%m-%dT%H:%M:%SZ"),
        ]
        for each in listing.entries
    ]
    assert children == expected["children"]
    doubled = listing.entries[2]
    assert doubled.url == "dav://dav.example.test:8080/club/docs//two%20slash.txt"  # sent back as it came
    assert [each.url for each in listing.entries if each is not doubled] == [None] * 4


# RFC 4918


def test_depth_one() -> None:
    """Section 9.1.5's example."""
    listing = entries_of(read_multistatus(ALL_PROPERTIES, NOW), "http://www.example.com/container/")
    moment = datetime(1998, 1, 12, 9, 25, 56, tzinfo=UTC)
    assert listing == Told((Entry(b"front.html", Kind.FILE, 4525, moment),), partial=False)


@pytest.mark.parametrize("url", ["http://www.example.com/mycol", "http://www.example.com/mycol/"])
def test_an_empty_folder_with_and_without_its_slash(url: str) -> None:
    """Section 9.1.6's example; section 5.2."""
    listing = entries_of(read_multistatus(INCLUDED_PROPERTIES, NOW), url)
    assert listing == Told((), partial=False)


@pytest.mark.parametrize(
    ("status", "kind"),
    [
        (404, NotThere),
        (410, NotThere),
        (403, NotAllowed),
        (401, CredentialsRefused),
        (500, FarBusy),
        (423, FarBusy),
    ],
)
def test_a_folder_that_failed_inside_of_a_207_is_not_empty(status: int, kind: type[HeadraceError]) -> None:
    """Section 13: the status of a response is the method's for that resource."""
    for own in (failed("/w/", status), failed("http://DAV.example.test/w", status)):
        with pytest.raises(HeadraceError) as caught:
            told(own)
        assert type(caught.value) is kind
    propstat = document("/w/").replace("200 OK", f"{status} x")
    with pytest.raises(HeadraceError) as caught:
        told(propstat)
    assert type(caught.value) is kind


def test_forbidden_inside_of_an_answer_is_no_fault_of_the_login() -> None:
    """Which was taken: the answer came with 207."""
    with pytest.raises(NotAllowed):
        entries_of(multistatus(failed("/w/", 403)), URL)


def test_entries_that_failed_alone_are_left_out() -> None:
    listing = told(
        folder("/w/"), document("/w/a"), failed("/w/b", 403), failed("/w/c", 500), document("/w/d")
    )
    assert names(listing) == [b"a", b"d"]
    assert listing is not None
    assert listing.partial


@pytest.mark.parametrize("href", ["", " \n ", None])
def test_a_response_that_names_nothing(href: str | None) -> None:
    """Something is there that nobody can name: a folder of such things is not empty. RFC 4918 section 14.24
    wants an href in each response, and section 8.3 a path in each href.
    """
    nameless = document("") if href is None else document(href)
    if href is None:
        nameless = nameless.replace("<D:href></D:href>", "")
    listing = told(folder("/w/"), document("/w/a"), nameless, document("/w/b"))
    assert names(listing) == [b"a", b"b"]
    assert listing is not None
    assert listing.partial
    assert told(folder("/w/"), nameless) == Told((), partial=True)
    with pytest.raises(WrongDocument):
        stat_of(multistatus(nameless), URL, "")


def test_all_entries_failed() -> None:
    listing = told(folder("/w/"), failed("/w/a", 403))
    assert listing == Told((), partial=True)


def test_a_listing_that_the_server_cut() -> None:
    """A second response for the folder, of status 507, as RFC 5323 has it for searches (from memory)."""
    listing = told(folder("/w/"), document("/w/a"), failed("/w/", 507))
    assert names(listing) == [b"a"]
    assert listing is not None
    assert listing.partial
    assert told(folder("/w/"), failed("/w/", 507)) == Told((), partial=True)


def test_nothing_told_is_not_an_empty_folder() -> None:
    assert told() is None


def test_entries_without_their_folder() -> None:
    assert names(told(document("/w/a"), document("/w/b"))) == [b"a", b"b"]


def test_a_document_is_no_folder() -> None:
    for href in ("/w/", "/w"):
        with pytest.raises(WrongDocument):
            told(document(href))


# What servers do


def test_what_is_not_in_the_folder_is_left_out() -> None:
    listing = told(
        folder("/w/"), document("/w/a"), document("/other/b"), document("/w/../c"), document("/w/d/e")
    )
    assert names(listing) == [b"a"]
    assert listing is not None
    assert listing.partial
    deeper = told(folder("/w/"), folder("/w/d/"), document("/w/d/e"))  # of depth infinity
    assert deeper == Told((Entry(b"d", Kind.FOLDER),), partial=False)


@pytest.mark.parametrize("href", ["/w/%2e%2e", "/w/%2e", "/w/a%2Fb", "/w/a%00b", "/w/" + "x" * 5_000])
def test_names_that_cannot_be_told(href: str) -> None:
    assert told(folder("/w/"), document(href)) == Told((), partial=True)


def test_a_name_twice_is_one_entry() -> None:
    assert names(told(folder("/w/"), document("/w/a"), document("/w//a"), document("/w/%61"))) == [b"a"]


def test_a_server_behind_another_one_that_renames_paths() -> None:
    listing = told(folder("/inner/files/"), document("/inner/files/a"), folder("/inner/files//b/"))
    assert names(listing) == [b"a", b"b"]
    assert listing is not None
    assert [each.url for each in listing.entries] == [None, None]  # got at by the path that was asked


def test_strangers_alone_are_not_a_folder() -> None:
    listing = told(document("/x/a"), document("/y/b"))
    assert listing == Told((), partial=True)


def test_a_kind_by_the_slash_where_no_type_is_told() -> None:
    size = "<D:getcontentlength>7</D:getcontentlength>"
    listing = told(folder("/w/"), document("/w/a", size), document("/w/b/", size))
    assert listing is not None
    assert listing.entries == (Entry(b"a", Kind.FILE, 7), Entry(b"b", Kind.FOLDER))


def test_a_folder_has_no_size() -> None:
    """lighttpd tells one."""
    more = "<D:resourcetype><D:collection/></D:resourcetype><D:getcontentlength>4096</D:getcontentlength>"
    listing = told(folder("/w/"), document("/w/d", more))
    assert listing is not None
    assert listing.entries[0].size is None


def test_the_root_of_a_server() -> None:
    for url in ("https://dav.example.test", "https://dav.example.test/"):
        assert names(told(folder("/"), document("/a"), folder("/b/"), url=url)) == [b"a", b"b"]
    assert told(folder("http://dav.example.test"), url="http://dav.example.test/") == Told((), partial=False)


def test_urls_have_the_scheme_asked_for() -> None:
    listing = told(document("https://h.example//a"), folder("/"), url="https://h.example:444/")
    assert listing is not None
    assert listing.entries[0].url == "davs://h.example:444//a"


# One thing


def test_stat_of_a_document() -> None:
    more = (
        "<D:resourcetype/><D:getcontentlength>5</D:getcontentlength><D:getetag>1-2</D:getetag>"
        "<D:getlastmodified>Thu, 29 Feb 2024 10:15:00 GMT</D:getlastmodified>"
        "<D:getcontenttype>Text/Plain; charset=utf-8</D:getcontenttype>"
    )
    stat = stat_of(multistatus(document("/w/a", more)), URL + "a", "dav://h:80")
    assert (stat.kind, stat.size, stat.media_type, stat.charset) == (Kind.FILE, 5, "text/plain", "utf-8")
    assert stat.modified == datetime(2024, 2, 29, 10, 15, tzinfo=UTC)
    assert stat.validators == Validators('"1-2"', "Thu, 29 Feb 2024 10:15:00 GMT")  # in quotes, as GET has it
    assert stat.origin == "dav://h:80"


@pytest.mark.parametrize(
    ("sent", "etag"), [('"a"', '"a"'), ('W/"a"', 'W/"a"'), ("a", '"a"'), ('a"b', None), ("", None)]
)
def test_etags(sent: str, etag: str | None) -> None:
    more = f"<D:resourcetype/><D:getetag>{sent}</D:getetag>"
    stat = stat_of(multistatus(document("/w/a", more)), URL + "a", "")
    assert stat.validators.etag == etag


def test_stat_takes_its_own_response() -> None:
    answer = multistatus(document("/w/b", "<D:getcontentlength>1</D:getcontentlength>"), folder("/w"))
    assert stat_of(answer, URL, "").kind is Kind.FOLDER
    alone = multistatus(document("/elsewhere/b", "<D:getcontentlength>1</D:getcontentlength>"))
    assert stat_of(alone, URL + "b", "").size == 1


def test_stat_of_what_failed() -> None:
    with pytest.raises(NotThere):
        stat_of(multistatus(failed("/w/a", 404)), URL + "a", "")
    with pytest.raises(WrongDocument):
        stat_of(multistatus(), URL + "a", "")
