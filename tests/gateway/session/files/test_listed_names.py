"""Shown names as refs: from the left, real names first, never for what is created, and bounded."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.session.files.listed_names import Behind, ListedNames, Names, Use, names_of
from tests.gateway.session.files.far import CLUB, catalogue

CATALOGUE = catalogue()


def club(path: str) -> Ref:
    return read_ref(CATALOGUE, f"club:{path}")


def short(entries: dict[str, Behind]) -> Names:
    """A listing with short names only; what they look like whole cannot be typed."""
    return names_of(((f"\0{word}", behind) for word, behind in entries.items()), entries)


def whole(*entries: tuple[str, Behind]) -> Names:
    """A listing with long names only."""
    return names_of(entries, {})


# Short names


@pytest.fixture
def names() -> ListedNames:
    found = ListedNames()
    found.remember(
        club(""), short({"LONGNAME": b"long name here", "FOO.TXT": b"foo.txt", "FOO-2.TXT": b"FOO.text"})
    )
    found.remember(club("long%20name%20here/"), short({"INNER": b"inner \xe9"}))
    return found


@pytest.mark.parametrize("use", Use)
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
def test_short_names(names: ListedNames, path: str, long: str, use: Use) -> None:
    assert names.long(club(path), use, short=True).url == CLUB + long


def test_short_names_are_none_where_names_are_long(names: ListedNames) -> None:
    assert names.long(club("LONGNAME")).url == CLUB + "LONGNAME"


def test_an_entry_of_exactly_that_name_goes_first() -> None:
    names = ListedNames()
    names.remember(club(""), short({"FOO.TXT": b"Foo.txt", "FOO-2.TXT": b"foo.txt"}))
    assert names.long(club("foo.txt"), short=True).url == CLUB + "foo.txt"
    assert names.long(club("FOO.TXT"), short=True).url == CLUB + "Foo.txt"


def test_an_entry_that_is_kept_elsewhere() -> None:
    names = ListedNames()
    names.remember(club(""), short({"DEEP.TXT": CLUB + "a/b/deep.txt", "SUB": CLUB + "x/sub/"}))
    names.remember(club("x/sub"), short({"INNER": b"in ner"}))
    assert names.long(club("DEEP.TXT"), short=True).url == CLUB + "a/b/deep.txt"
    assert names.long(club("sub/inner"), short=True).url == CLUB + "x/sub/in%20ner"
    assert names.long(club("sub/"), short=True).url == CLUB + "x/sub/"


def test_queries_stay() -> None:
    names = ListedNames()
    names.remember(read_ref(CATALOGUE, "shelf:"), short({"LONG": b"long name"}))
    assert names.long(read_ref(CATALOGUE, "shelf:LONG?x=LONG"), short=True).url == (
        "https://far.example/shelf/long%20name?x=LONG"
    )


def test_typed_urls_have_short_names_too() -> None:
    names = ListedNames()
    names.remember(read_ref(CATALOGUE, "https://open.example"), short({"LONG": b"long name"}))
    names.remember(read_ref(CATALOGUE, "https://open.example/long%20name/"), short({"A": b"a b"}))
    found = names.long(read_ref(CATALOGUE, "https://open.example/LONG/A"), short=True)
    assert found.url == "https://open.example/long%20name/a%20b"
    for text in ("https://open.example", "https://open.example/"):
        assert names.long(read_ref(CATALOGUE, text), short=True).url == text


def test_a_bounded_number_of_folders_is_remembered() -> None:
    names = ListedNames()
    for number in range(limits.SHORT_LISTINGS + 1):
        names.remember(club(f"{number}/"), short({"LONG": b"long name"}))
    assert names.long(club("0/LONG"), short=True).url == CLUB + "0/LONG"
    assert names.long(club("1/LONG"), short=True).url == CLUB + "1/long%20name"
    names.remember(club("big/"), whole(*((f"N{each}", b"x%d" % each) for each in range(limits.SHORT_NAMES))))
    assert names.long(club("8/LONG"), short=True).url == CLUB + "8/LONG"
    assert names.long(club("big/N5")).url == CLUB + "big/x5"


# Names as shown in ASCII

SHOWN = (
    ("Moewe.txt", "Möwe.txt".encode()),
    ("MOEWE.TXT", b"MOEWE.TXT"),
    ("Haefen", "Häfen".encode()),
    ("notes.txt", b"notes.txt"),
    ("twice", b"tw\xeece"),
    ("twice", b"tw\xefce"),
    ("Once", b"Once"),
    ("page", CLUB + "x/page.html"),
    ("away", None),
)


@pytest.fixture
def shown() -> ListedNames:
    found = ListedNames()
    found.remember(club(""), whole(*SHOWN))  # its own: what is created is taken out of it
    found.remember(club("H%C3%A4fen/"), whole(("Kue", "Kü".encode())))
    return found


@pytest.mark.parametrize(
    ("path", "long"),
    [
        ("Moewe.txt", "M%C3%B6we.txt"),
        ("MOEWE.TXT", "MOEWE.TXT"),
        ("moewe.txt", "moewe.txt"),  # two are shown so in some case
        ("NOTES.TXT", "notes.txt"),
        ("notes.txt", "notes.txt"),
        ("haefen/KUE", "H%C3%A4fen/K%C3%BC"),
        ("Haefen/new", "H%C3%A4fen/new"),
        ("twice", "twice"),
        ("TWICE", "TWICE"),
        ("page", "x/page.html"),
        ("away", "away"),
        ("other/Moewe.txt", "other/Moewe.txt"),
        ("M%C3%96WE.TXT", "M%C3%96WE.TXT"),
        ("", ""),
    ],
)
def test_a_ref_as_shown(shown: ListedNames, path: str, long: str) -> None:
    assert shown.long(club(path)).url == CLUB + long


def test_in_short_listings_long_names_in_ascii_are_refs_too() -> None:
    names = ListedNames()
    names.remember(club(""), names_of([("Moewe laut.txt", "Möwe laut.txt".encode())], {"MOEWELAU.TXT": b"x"}))
    for path in ("Moewe%20laut.txt", "moewe%20laut.txt"):
        assert names.long(club(path), short=True).url == CLUB + "M%C3%B6we%20laut.txt"


@pytest.mark.parametrize(
    ("use", "path", "long"),
    [
        (Use.CHANGE, "Moewe.txt", "M%C3%B6we.txt"),
        (Use.CHANGE, "NOTES.TXT", "NOTES.TXT"),
        (Use.CHANGE, "haefen/Kue", "haefen/Kue"),
        (Use.CHANGE, "Haefen/Kue", "H%C3%A4fen/K%C3%BC"),
        (Use.CHANGE, "Haefen/", "H%C3%A4fen/"),
        (Use.PUT, "Moewe.txt", "Moewe.txt"),
        (Use.PUT, "NOTES.TXT", "NOTES.TXT"),
        (Use.PUT, "Haefen/Kue", "H%C3%A4fen/Kue"),
        (Use.PUT, "Haefen/", "H%C3%A4fen/"),
        (Use.PUT, "haefen/", "haefen/"),
        (Use.NAME, "Haefen", "Haefen"),
        (Use.NAME, "Haefen/", "Haefen/"),
        (Use.NAME, "Haefen/Kue/", "H%C3%A4fen/Kue/"),
    ],
)
def test_what_changes_something_is_taken_exactly_and_what_creates_never(
    shown: ListedNames, use: Use, path: str, long: str
) -> None:
    assert shown.long(club(path), use).url == CLUB + long


@pytest.mark.parametrize("path", ["Moewe.txt", "Haefen/"])
def test_a_name_that_was_created_is_itself(shown: ListedNames, path: str) -> None:
    """Else ERASE after STORE would erase another document than the one that was stored."""
    shown.created(club(path))
    assert shown.long(club(path)).url == CLUB + path
    assert shown.long(club(path), Use.CHANGE).url == CLUB + path


def test_what_was_there_already_and_is_put_again_changes_nothing(shown: ListedNames) -> None:
    shown.created(club("notes.txt"))
    assert shown.long(club("NOTES.TXT")).url == CLUB + "notes.txt"
    shown.created(read_ref(CATALOGUE, "shelf:x/y"))  # never listed


def test_a_new_listing_takes_the_place_of_the_old_one(shown: ListedNames) -> None:
    shown.remember(club(""), whole())
    assert shown.long(club("Moewe.txt")).url == CLUB + "Moewe.txt"


_NAMES = st.text("aAbBäÄ", min_size=1, max_size=3)


@given(st.lists(_NAMES, unique=True, max_size=6), _NAMES, st.sampled_from(Use))
def test_a_real_name_always_wins(listed: list[str], typed: str, use: Use) -> None:
    """Whatever else is shown so: an umlaut is shown as its letter here, as in the general table."""
    table = str.maketrans("äÄ", "aA")
    names = ListedNames()
    names.remember(club(""), whole(*((name.translate(table), name.encode()) for name in listed)))
    for name in listed:
        assert names.long(club(name), use).url == club(name).url
    found = names.long(club(typed), use).url
    alike = [name for name in listed if name.translate(table).lower() == typed.lower()]
    assert found in {club(each).url for each in [typed, *alike]}
