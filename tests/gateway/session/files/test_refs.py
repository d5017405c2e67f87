"""What a ref may be and in which order it is looked for (CONTRACT section 3)."""

from dataclasses import replace

import pytest

from gateway.catalogue.model import Catalogue, Place
from gateway.session.wishes import ListWish, PickWish, ReadWish, TextWish
from tests.gateway.catalogue.test_refs import ABNORMAL, NORMAL
from tests.gateway.session.files.far import CLUB, PLACES, Far, FarTalk, catalogue, entries, far_talk


def asked(talk: FarTalk) -> str:
    """The URL that was asked for last."""
    wish = talk.wishes[-1]
    assert isinstance(wish, ReadWish | ListWish | TextWish | PickWish)
    return wish.ref.url


@pytest.mark.parametrize(
    ("word", "url"),
    [
        ("club:a.txt", CLUB + "a.txt"),
        ("CLUB:A.TXT", CLUB + "A.TXT"),
        ("club:", CLUB),
        ("club:a%20b", CLUB + "a%20b"),
        ("'club:a b'", CLUB + "a%20b"),
        ("club:%e9", CLUB + "%e9"),
        ("club:../../x", CLUB + "x"),
        ("http://open.example/x", "http://open.example/x"),
    ],
)
def test_where_it_leads(word: str, url: str) -> None:
    talk = far_talk()
    assert talk.status(f"READ {word}")[:3] == "550"
    assert asked(talk) == url


@pytest.mark.parametrize(
    ("line", "code", "sentence"),
    [
        ("READ a.txt", "501", "A ref is place:path or a URL"),
        ("READ clbu:a", "550", "No place CLBU; nearest: CLUB"),
        ("READ #1", "503", "No LIST or TEXT came before"),
        ("NAME #1", "503", "No LIST or TEXT came before"),
        ("BASE #1", "503", "No LIST or TEXT came before"),
        ("READ #x", "501", "A ref is place:path or a URL"),
        ("READ http://closed.example/", "532", "URLs of that host may not be typed"),
        ("READ file:///etc/passwd", "532", "A file URL may not be typed"),
        ("STORE file:///etc/passwd", "532", "A file URL may not be typed"),
        ("READ club:..%2fx", "532", "A ref may not leave its place"),
        ("READ gopher://open.example/", "502", "No such kind of address here"),
        ("READ club:%0d", "501", "A ref holds no control characters"),
    ],
)
def test_what_is_refused_before_anything_is_asked(line: str, code: str, sentence: str) -> None:
    talk = far_talk()
    status, records = talk.say(line) or ("", [])
    assert (status[:3], records[0].rstrip()) == (code, sentence)
    assert not talk.wishes


# BASE


def test_base_has_no_records_and_can_be_cleared() -> None:
    talk = far_talk()
    assert talk.say("BASE club:docs/") == ("200 00000 000 ..", [])
    talk.say("READ a")
    assert asked(talk) == CLUB + "docs/a"
    assert talk.say("BASE") == ("200 00000 000 ..", [])
    assert talk.status("READ a")[:3] == "501"
    assert talk.status("BASE a b")[:3] == "501"


def test_base_is_resolved_against_the_old_one() -> None:
    talk = far_talk()
    for word in ("club:a/b/", "../c/", "d/"):
        assert talk.status(f"BASE {word}") == "200 00000 000 .."
    talk.say("READ x")
    assert asked(talk) == CLUB + "a/c/d/x"
    talk.say("BASE /e/")
    talk.say("READ ../../../x")
    assert asked(talk) == CLUB + "x"


def test_a_base_that_cannot_be_leaves_the_old_one() -> None:
    talk = far_talk()
    talk.say("BASE club:a/")
    assert talk.status("BASE nowhere:b/")[:3] == "550"
    talk.say("READ x")
    assert asked(talk) == CLUB + "a/x"


@pytest.mark.parametrize(
    ("reference", "target"),
    [(reference, target) for reference, target in NORMAL + ABNORMAL if target.startswith("http://a/")],
)
def test_rfc_3986_section_5_4_through_base(reference: str, target: str) -> None:
    """The RFC's examples that stay at the host, in a place that is its root; fragments are not fetched."""
    known = catalogue(A=Place("A", "http://a/"))
    talk = far_talk(known=lambda: known)
    talk.say("BASE a:b/c/d;p?q")
    talk.say(f'READ "{reference}"')
    assert asked(talk) == target.partition("#")[0]


def test_places_come_before_urls_and_urls_before_the_base() -> None:
    talk = far_talk()
    talk.say("BASE club:docs/")
    talk.say("READ shelf:x")
    assert asked(talk) == "https://far.example/shelf/x"
    talk.say("READ http://open.example/x")
    assert asked(talk) == "http://open.example/x"
    assert talk.status("READ clbu:x")[:3] == "550"
    talk.say("READ ./clbu:x")
    assert asked(talk) == CLUB + "docs/clbu:x"


def test_pick_takes_every_kind_of_ref() -> None:
    talk = far_talk(Far({CLUB + "docs/a": b"12345"}, {CLUB: entries("docs/"), CLUB + "docs/": entries("a")}))
    talk.say("BASE club:docs/")
    assert talk.say("PICK a $ $.x") == ("200 00001 005 ..", ["    5"])
    talk.say("LIST")
    assert talk.say("PICK #1 $ $.x") == ("200 00001 005 ..", ["    5"])
    assert asked(talk) == CLUB + "docs/a"


def test_typed_lower_holds_for_refs() -> None:
    talk = far_talk()
    talk.say("SET typed=lower")
    talk.say("BASE CLUB:DOCS/")
    talk.say("TEXT READ.ME")
    assert asked(talk) == CLUB + "docs/read.me"


def test_a_base_whose_place_is_gone_is_not_used() -> None:
    """A running gateway takes a changed catalogue: refs of before must not lead elsewhere with new rights."""
    known: list[Catalogue] = [catalogue()]
    talk = far_talk(Far(listings={CLUB: entries("a")}), known=lambda: known[0])
    talk.say("BASE club:")
    talk.say("LIST")
    known[0] = catalogue(CLUB=Place("CLUB", "ftp://other.example/"))
    before = len(talk.wishes)
    for line in ("READ a", "READ #1", "LIST"):
        assert talk.records(line)[0].rstrip() == "Place CLUB is not as it was"
    assert len(talk.wishes) == before
    known[0] = catalogue()
    talk.say("LIST")
    known[0] = catalogue(CLUB=replace(PLACES["CLUB"], write=False))
    assert talk.status("ERASE a")[:3] == "532"
    assert talk.status("ERASE #1")[:3] == "532"
