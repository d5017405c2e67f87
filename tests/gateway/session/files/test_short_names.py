"""Short names as refs: from the left, case-blind, real names first, and never without bound."""

import pytest

from adapters import limits
from gateway.catalogue.targets import Ref, read_ref
from gateway.session.files.short_names import ShortNames
from tests.gateway.session.files.far import CLUB, catalogue

CATALOGUE = catalogue()


def club(path: str) -> Ref:
    return read_ref(CATALOGUE, f"club:{path}")


@pytest.fixture
def names() -> ShortNames:
    found = ShortNames()
    found.remember(club(""), {"LONGNAME": b"long name here", "FOO.TXT": b"foo.txt", "FOO-2.TXT": b"FOO.text"})
    found.remember(club("long%20name%20here/"), {"INNER": b"inner \xe9"})
    return found


@pytest.mark.parametrize(
    ("path", "long"),
    [
        ("LONGNAME", "long%20name%20here"),
        ("longname/", "long%20name%20here/"),
        ("LONGNAME/INNER", "long%20name%20here/inner%20%E9"),
        ("long%20name%20here/inner", "long%20name%20here/inner%20%E9"),
        ("LONGNAME/OTHER", "long%20name%20here/OTHER"),
        ("LONGNAME/INNER/INNER", "long%20name%20here/inner%20%E9/INNER"),
        ("FOO.TXT", "foo.txt"),
        ("foo-2.txt", "FOO.text"),
        ("FOO.text", "FOO.text"),
        ("OTHER/LONGNAME", "OTHER/LONGNAME"),
        ("", ""),
    ],
)
def test_long(names: ShortNames, path: str, long: str) -> None:
    assert names.long(club(path)).url == CLUB + long


def test_an_entry_of_exactly_that_name_goes_first() -> None:
    names = ShortNames()
    names.remember(club(""), {"FOO.TXT": b"Foo.txt", "FOO-2.TXT": b"foo.txt"})
    assert names.long(club("foo.txt")).url == CLUB + "foo.txt"
    assert names.long(club("FOO.TXT")).url == CLUB + "Foo.txt"


def test_an_entry_that_is_kept_elsewhere() -> None:
    names = ShortNames()
    names.remember(club(""), {"DEEP.TXT": CLUB + "a/b/deep.txt", "SUB": CLUB + "x/sub/"})
    names.remember(club("x/sub"), {"INNER": b"in ner"})
    assert names.long(club("DEEP.TXT")).url == CLUB + "a/b/deep.txt"
    assert names.long(club("sub/inner")).url == CLUB + "x/sub/in%20ner"
    assert names.long(club("sub/")).url == CLUB + "x/sub/"


def test_queries_stay() -> None:
    names = ShortNames()
    names.remember(read_ref(CATALOGUE, "shelf:"), {"LONG": b"long name"})
    assert names.long(read_ref(CATALOGUE, "shelf:LONG?x=LONG")).url == (
        "https://far.example/shelf/long%20name?x=LONG"
    )


def test_typed_urls_have_short_names_too() -> None:
    names = ShortNames()
    names.remember(read_ref(CATALOGUE, "https://open.example"), {"LONG": b"long name"})
    names.remember(read_ref(CATALOGUE, "https://open.example/long%20name/"), {"A": b"a b"})
    found = names.long(read_ref(CATALOGUE, "https://open.example/LONG/A"))
    assert found.url == "https://open.example/long%20name/a%20b"
    for text in ("https://open.example", "https://open.example/"):
        assert names.long(read_ref(CATALOGUE, text)).url == text


def test_a_bounded_number_of_folders_is_remembered() -> None:
    names = ShortNames()
    for number in range(limits.SHORT_LISTINGS + 1):
        names.remember(club(f"{number}/"), {"LONG": b"long name"})
    assert names.long(club("0/LONG")).url == CLUB + "0/LONG"
    assert names.long(club("1/LONG")).url == CLUB + "1/long%20name"
    names.remember(club("big/"), {f"N{number}": b"x%d" % number for number in range(limits.SHORT_NAMES)})
    assert names.long(club("8/LONG")).url == CLUB + "8/LONG"
    assert names.long(club("big/N5")).url == CLUB + "big/x5"
