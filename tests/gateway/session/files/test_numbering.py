"""`#n` as a table: entries and links by their numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import NotThere, WrongMoment
from adapters.files import Entry, Kind, Target
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.session.files.numbering import NoNumbers, NumberedEntries, NumberedLinks
from tests.gateway.session.files.far import CLUB, catalogue

CATALOGUE = catalogue()
FOLDER = Ref(CLUB + "docs/", CATALOGUE.places["CLUB"])
NAMES = st.binary(min_size=1, max_size=20).filter(lambda name: b"/" not in name and name not in {b".", b".."})


@given(st.lists(NAMES, max_size=5))
def test_names_come_back_byte_for_byte(names: list[bytes]) -> None:
    numbered = NumberedEntries(FOLDER, [Entry(name, Kind.FILE) for name in names])
    for number, name in enumerate(names, 1):
        ref = numbered.ref(CATALOGUE, number)
        assert ref.url.isascii()
        assert ref.url.startswith(FOLDER.url)
        assert Target(ref.url, CLUB).name == name


def test_a_folder_ends_in_a_slash_so_that_it_can_be_a_base() -> None:
    numbered = NumberedEntries(FOLDER, [Entry(b"x", Kind.FOLDER), Entry(b"y", Kind.LINK)])
    folder = numbered.ref(CATALOGUE, 1)
    assert folder.whole == "CLUB:docs/x/"
    assert read_ref(CATALOGUE, "z", folder).whole == "CLUB:docs/x/z"
    assert numbered.ref(CATALOGUE, 2).whole == "CLUB:docs/y"


@pytest.mark.parametrize("number", [0, 3])
def test_numbers_that_are_not_there(number: int) -> None:
    for numbered in (NumberedEntries(FOLDER, [Entry(b"x", Kind.FILE)] * 2), NumberedLinks(("CLUB:a",) * 2)):
        with pytest.raises(NotThere):
            numbered.ref(CATALOGUE, number)


def test_links_are_whole_refs_or_urls() -> None:
    links = NumberedLinks(("CLUB:a%20b", "https://open.example/x"))
    assert links.ref(CATALOGUE, 1) == Ref(CLUB + "a%20b", CATALOGUE.places["CLUB"])
    assert links.ref(CATALOGUE, 2) == Ref("https://open.example/x")


def test_after_a_list_that_failed_there_are_none() -> None:
    for ask in (NoNumbers().ref, NoNumbers().whole):
        with pytest.raises(WrongMoment, match="The last LIST failed; LIST again"):
            ask(CATALOGUE, 1)


def test_whole_is_what_ref_has() -> None:
    entries = NumberedEntries(FOLDER, [Entry(b"x y", Kind.FILE), Entry(b"z", Kind.FILE, url=CLUB + "../z")])
    assert entries.whole(CATALOGUE, 1) == "CLUB:docs/x%20y"
    assert entries.whole(CATALOGUE, 2) == entries.ref(CATALOGUE, 2).whole
    links = NumberedLinks(("CLUB:a%20b", "ftp://closed.example/x"), placed=True)
    assert [links.whole(CATALOGUE, number) for number in (1, 2)] == list(links.links)
    for numbered in (entries, links):
        with pytest.raises(NotThere):
            numbered.whole(CATALOGUE, 3)
