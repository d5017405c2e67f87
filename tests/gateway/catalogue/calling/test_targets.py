"""Refs: places, URLs that may be typed, references relative to a base, and what each is a target of."""

import urllib.parse
from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import HeadraceError, NotAllowed, NotPossible, NotThere, WrongWords
from adapters.files import Target
from adapters.port import CredentialKind, Credentials, Reach
from gateway.catalogue.calling.targets import Ref, current, inside, read_ref, target_of
from gateway.catalogue.model import Catalogue, Place
from tests.gateway.catalogue.calling.test_refs import ABNORMAL, NORMAL
from tests.gateway.catalogue.example import example

CATALOGUE = example()
CLUB = "https://files.example/pub/"


def ref(text: str, base: str | None = None) -> Ref:
    return read_ref(CATALOGUE, text, None if base is None else read_ref(CATALOGUE, base))


def test_a_path_of_a_place() -> None:
    assert ref("Club:a/b.json?x=1") == Ref(CLUB + "a/b.json?x=1", CATALOGUE.places["CLUB"])
    assert ref("attic:").url == "ftp://attic.example/old/"
    assert ref("attic:a b%e9?.txt").url == "ftp://attic.example/old/a%20b%E9%3F.txt"


def test_a_path_never_leaves_its_place() -> None:
    assert ref("club:../../x").url == CLUB + "x"
    assert ref("club:/x").url == CLUB + "x"
    assert ref("club:https://evil.example/").url == CLUB + "https://evil.example/"
    with pytest.raises(NotAllowed):
        ref("club:..%2f..%2fx")


@pytest.mark.parametrize(
    ("typed", "error", "sentence"),
    [
        ("clbu:x", NotThere, "No place CLBU; nearest: CLUB"),
        ("nowhere:x", NotThere, "No place NOWHERE"),
        ("x", WrongWords, "Wanted place:path, #n, or a BASE first"),
        ("", WrongWords, "Wanted place:path, #n, or a BASE first"),
        ("#s", WrongWords, "Wanted place:path, #n, or a BASE first"),
        ("a/club:x", WrongWords, "Wanted place:path, #n, or a BASE first"),
        (":x", WrongWords, "A ref is place:path or a URL"),
        ("gopher://data.example/", NotPossible, "No such kind of address here"),
        ("https://other.example/", NotAllowed, "URLs of that host may not be typed"),
        ("https://open.example/", NotAllowed, "URLs of that host may not be typed"),
        ("https://data.example.evil.example/", NotAllowed, "URLs of that host may not be typed"),
        ("https://evildata.example/", NotAllowed, "URLs of that host may not be typed"),
        ("https://xopen.example/", NotAllowed, "URLs of that host may not be typed"),
        ("file:///etc/passwd", NotAllowed, "A file URL may not be typed"),
        ("FILE:/etc/passwd", NotAllowed, "A file URL may not be typed"),
        ("file://data.example/etc", NotAllowed, "A file URL may not be typed"),
        ("https://data.example@evil.example/", NotAllowed, "A URL may not hold a user part"),
        ("https://me:pw@data.example/", NotAllowed, "A URL may not hold a user part"),
        ("https://data.example\\@evil.example/", WrongWords, "That is no usable URL"),
        ("https://data.example:99999/", WrongWords, "That is no usable URL"),
        ("https:data.example", WrongWords, "That is no usable URL"),
        ("https://", WrongWords, "That is no usable URL"),
        ("https://data.example/a\nb", WrongWords, "That is no usable URL"),
    ],
)
def test_refs_that_are_refused(typed: str, error: type[HeadraceError], sentence: str) -> None:
    with pytest.raises(error) as caught:
        ref(typed)
    assert type(caught.value) is error
    assert caught.value.sentence == sentence
    assert len(sentence) <= 40


@pytest.mark.parametrize(
    ("typed", "url"),
    [
        ("https://data.example/a?b=1", "https://data.example/a?b=1"),
        ("HTTPS://DATA.example:443", "https://data.example"),
        ("http://data.example:8080/x#top", "http://data.example:8080/x"),
        ("https://a.b.open.example/x", "https://a.b.open.example/x"),
        ("https://data.example./x", "https://data.example/x"),
        ("https://data.example/é", "https://data.example/%C3%A9"),
    ],
)
def test_urls_that_may_be_typed(typed: str, url: str) -> None:
    target = target_of(CATALOGUE, ref(typed))
    assert target.url == url
    assert target.credentials is None
    assert target.reach.named == CATALOGUE.origins_for("http")


def test_the_root_of_a_typed_url_is_its_host() -> None:
    assert target_of(CATALOGUE, ref("http://data.example:8080/x/y?z=/")).root == "http://data.example:8080/"
    assert target_of(CATALOGUE, ref("http://data.example?z=/")).root == "http://data.example/"


def test_the_target_of_a_place() -> None:
    club = CATALOGUE.places["CLUB"]
    assert target_of(CATALOGUE, ref("club:a/b")) == Target(
        CLUB + "a/b",
        CLUB,
        Credentials(CredentialKind.BASIC, "reader", "club-secret"),
        "certs/club.pem",
        Reach(CATALOGUE.origins_for("https"), CATALOGUE.gateway.allow),
        "html",
    )
    assert club.index == "html"
    assert target_of(CATALOGUE, ref("attic:")).credentials is None


def test_a_typed_address_that_the_catalogue_spells_out_is_named_by_it() -> None:
    """CONTRACT section 4: what the catalogue names may be loopback; a name looked up is not named so."""
    gateway = replace(CATALOGUE.gateway, urls=("127.0.0.1", "localhost", "lan.example"))
    catalogue = replace(CATALOGUE, gateway=gateway)

    def named(text: str) -> frozenset[tuple[str, int]]:
        return target_of(catalogue, read_ref(catalogue, text)).reach.named

    assert ("127.0.0.1", 81) in named("http://127.0.0.1:81/")
    assert ("localhost", 80) in named("http://localhost/")
    assert named("http://lan.example/") == CATALOGUE.origins_for("http")


def with_places(**bases: str) -> Catalogue:
    places = {name.upper(): Place(name.upper(), base) for name, base in bases.items()}
    return Catalogue(places=MappingProxyType(places))


def test_a_place_that_changed_meanwhile_is_not_there_any_more() -> None:
    old = read_ref(with_places(a="http://a.example/"), "a:x")
    assert current(with_places(a="http://a.example/"), old) == old
    for catalogue in (with_places(b="http://a.example/"), with_places(a="http://other.example/")):
        for use in (current, target_of):
            with pytest.raises(NotThere):
                use(catalogue, old)


def test_a_url_that_may_not_be_typed_any_more_is_no_target() -> None:
    with pytest.raises(NotAllowed):
        target_of(with_places(), ref("https://data.example/x"))


# Relative references

WEB = with_places(a="http://a/")
FILES = with_places(a="ftp://a/")
RFC_BASE = "a:b/c/d;p?q"


@pytest.mark.parametrize(
    ("reference", "target"),
    [(reference, target) for reference, target in NORMAL + ABNORMAL if target.startswith("http://a/")],
)
def test_rfc_3986_section_5_4_through_a_place(reference: str, target: str) -> None:
    """The examples of RFC 3986 section 5.4 that stay at the host; a fragment is not fetched (section 3.5)."""
    base = read_ref(WEB, RFC_BASE)
    assert base.url == "http://a/b/c/d;p?q"
    assert read_ref(WEB, reference, base).url == target.partition("#")[0]


def test_what_is_left_of_section_5_4_stays_in_the_place_or_is_refused() -> None:
    """CONTRACT section 3: a leading `/` never leaves the place; before a colon stands a place or a scheme."""
    base = read_ref(WEB, RFC_BASE)
    assert read_ref(WEB, "//g", base).url == "http://a/g"
    with pytest.raises(NotThere):
        read_ref(WEB, "g:h", base)
    with pytest.raises(WrongWords):
        read_ref(WEB, "http:g", base)


@pytest.mark.parametrize(
    ("base", "reference", "path"),
    [
        ("a:x/y", "?b", "x/%3Fb"),
        ("a:x/y", "#b", "x/%23b"),
        ("a:x/y", "", "x/y"),
        ("a:x/", "y z", "x/y%20z"),
        ("a:x/", "%e9", "x/%E9"),
        ("a:x/%3Fy/", "z", "x/%3Fy/z"),
        ("a:x", "y", "y"),
        ("a:x/", "..", ""),
        ("a:x/", "../../../y", "y"),
        ("a:x/", "/y", "y"),
        ("a:x/", "y/b:c", "x/y/b:c"),
        ("a:x/", "./b:c", "x/b:c"),
    ],
)
def test_relative_names_of_files(base: str, reference: str, path: str) -> None:
    found = read_ref(FILES, reference, read_ref(FILES, base))
    assert found.url == "ftp://a/" + path
    assert found.whole == "A:" + path


@pytest.mark.parametrize(
    ("reference", "url"),
    [
        ("c", "https://data.example/a/c"),
        ("/c d", "https://data.example/c%20d"),
        ("../../..", "https://data.example/"),
        ("?x=1", "https://data.example/a/b?x=1"),
        ("//a.open.example/x", "https://a.open.example/x"),
    ],
)
def test_relative_to_a_typed_url(reference: str, url: str) -> None:
    assert ref(reference, "https://data.example/a/b").url == url


def test_a_reference_leads_to_no_other_host_than_policy_allows() -> None:
    with pytest.raises(NotAllowed):
        ref("//evil.example/x", "https://data.example/a/b")


def test_places_and_urls_come_before_a_base() -> None:
    assert ref("attic:x", "club:a/").url == "ftp://attic.example/old/x"
    assert ref("https://data.example/", "club:a/").url == "https://data.example/"
    with pytest.raises(NotThere):
        ref("clbu:x", "club:a/")


def test_what_a_server_names_is_of_the_place_or_as_if_typed() -> None:
    club = CATALOGUE.places["CLUB"]
    assert inside(CATALOGUE, CLUB + "x?y", club) == Ref(CLUB + "x?y", club)
    assert inside(CATALOGUE, CLUB + "../x", club) == Ref(CLUB + "x", club)
    assert inside(CATALOGUE, "https://data.example/x", club) == Ref("https://data.example/x")
    for url in ("https://files.example/public", "https://evil.example/", "file:///etc/passwd"):
        with pytest.raises(NotAllowed):
            inside(CATALOGUE, url, club)


# Shapes


@pytest.mark.parametrize(
    ("text", "root", "folder", "segment"),
    [
        ("club:", True, True, ""),
        ("club:?x", True, True, ""),
        ("club:a", False, False, "a"),
        ("club:a/b%20c?x=/", False, False, "b%20c"),
        ("club:a/b/", False, True, "b"),
        ("https://data.example", True, True, ""),
        ("https://data.example/", True, True, ""),
        ("https://data.example/a/b", False, False, "b"),
    ],
)
def test_shapes(text: str, root: bool, folder: bool, segment: str) -> None:
    found = ref(text)
    assert (found.is_root, found.is_folder, found.segment) == (root, folder, segment)


def test_one_more_name() -> None:
    assert ref("club:a").below("b").url == ref("club:a/?x").below("b").url == CLUB + "a/b"
    assert ref("club:").below("b").url == CLUB + "b"
    assert ref("https://data.example").below("b").url == "https://data.example/b"


@given(st.text(max_size=30))
def test_any_ref_is_inside_or_a_sentence(text: str) -> None:
    for typed in (text, "club:" + text, "https://data.example" + text, "https://" + text):
        for base in (None, "club:a/b", "attic:a/b", "https://data.example/a/b"):
            try:
                found = ref(typed, base)
            except HeadraceError as error:
                assert error.code in {501, 502, 503, 532, 550}
                assert error.sentence.isascii()
                continue
            if found.place is not None:
                assert found.url.startswith(found.place.base)
                assert ref(found.whole).url == found.url
            host = urllib.parse.urlsplit(found.url).hostname
            assert host in {"files.example", "data.example", "attic.example", "wire.example"} or (
                host is not None and host.endswith(".open.example")
            )
