"""What a ref may be and in which order it is looked for (CONTRACT section 3)."""

from dataclasses import replace

import pytest

from adapters.errors import NotThere
from gateway.catalogue.model import Catalogue, GatewaySettings, Place
from gateway.session.wishes import ListWish, PickWish, ReadWish, TextWish
from tests.gateway.catalogue.calling.test_refs import ABNORMAL, NORMAL
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
        ("club:%e9", CLUB + "%E9"),
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
        ("READ a.txt", "501", "Wanted place:path, #n, or a BASE first"),
        ("READ :a", "501", "A ref is place:path or a URL"),
        ("LIST club", "501", "Did you mean CLUB: ?"),
        ("READ clbu:a", "550", "No place CLBU; nearest: CLUB"),
        ("READ #1", "503", "No LIST or TEXT came before"),
        ("NAME #1", "503", "No LIST or TEXT came before"),
        ("BASE #1", "503", "No LIST or TEXT came before"),
        ("READ #x", "501", "Wanted place:path, #n, or a BASE first"),
        ("READ club:docs\\a.txt", "532", "No \\ in a name"),
        ("READ club:..\\a.txt", "532", "A ref may not leave its place"),
        ("LIST", "501", "No BASE is set; wanted LIST ref"),
        ("TEXT club:ferry times", "501", 'Wanted: TEXT ref [flow]; blanks: "..."'),
        ("LIST club:ferry times", "501", 'Wanted: LIST [ref]; blanks: "..."'),
        ("BASE club:ferry times", "501", 'Wanted: BASE [ref]; blanks: "..."'),
        ("ERASE club:ferry times", "501", 'Wanted: ERASE ref; blanks: "..."'),
        ("MKDIR club:ferry times", "501", 'Wanted: MKDIR ref; blanks: "..."'),
        ("STORE club:ferry times", "501", 'Wanted: STORE ref [count]; blanks: "..."'),
        ("APPEND club:ferry times", "501", 'Wanted: APPEND ref [n]; blanks: "..."'),
        ("COPY club:ferry times club:", "501", 'Wanted: COPY ref ref; blanks: "..."'),
        ("RENAME club:ferry times club:x", "501", 'Wanted: RENAME ref ref; blanks: "..."'),
        ("READ club:ferry times", "501", "Wanted: READ ref [offset [n]] or ref Bn"),
        ("TEXT", "501", "Wanted: TEXT ref [flow]"),
        ("COPY club:a", "501", "Wanted: COPY ref ref"),
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


# A BASE that lacks its slash


def test_a_base_without_a_slash_is_named_where_a_ref_leads_nowhere() -> None:
    """RFC 3986 section 5.2.3: what stands after the last slash of the base gives way."""
    talk = far_talk(Far({CLUB + "a": b"A"}, {CLUB + "docs/": entries("a")}))
    told = "Not there; BASE ends without a /".ljust(40)
    talk.say("BASE club:docs")
    assert talk.status("LIST") == "200 00001 040 .."
    for line in ("READ b", "TEXT ./b", "LIST b/", "ERASE b", "COPY b dos:", "PICK b $ $.x"):
        talk.far.fault = lambda _: NotThere("No such document")
        assert talk.say(line) == ("550 00001 040 ..", [told]), line
    assert "ERROR    Not there; BASE ends without a" in talk.records("WHY")[2]
    talk.far.fault = lambda _: None
    assert talk.status("READ a")[:3] == "200"


@pytest.mark.parametrize(
    ("base", "line"),
    [
        ("club:docs/", "READ b"),
        ("club:", "READ b"),
        ("club:docs", "READ /b"),
        ("club:docs", "READ club:b"),
        ("club:docs", "LIST"),
        ("club:docs", "COPY club:a club:b"),
    ],
)
def test_elsewhere_it_is_not(base: str, line: str) -> None:
    talk = far_talk()
    talk.say(f"BASE {base}")
    talk.far.fault = lambda _: NotThere("No such document")
    assert talk.records(line)[0].rstrip() == "No such document"


def test_what_is_wrong_with_another_ref_of_the_request_is_told_itself() -> None:
    talk = far_talk()
    talk.say("BASE club:docs")
    assert talk.records("COPY b nowhere:")[0].rstrip() == "No place NOWHERE"
    talk.far.fault = lambda _: NotThere("No such document")
    assert talk.records("READ club:b")[0].rstrip() == "No such document"


# Names as shown (the rules are tested in test_listed_names)


@pytest.fixture
def shown() -> FarTalk:
    letters = GatewaySettings(letters={"ö": "oe"})
    known = replace(catalogue(), gateway=letters)
    return far_talk(Far(listings={CLUB: entries("Möwe.txt", "notes.txt")}), known=lambda: known)


def test_a_name_as_shown_is_a_ref_once_it_was_shown(shown: FarTalk) -> None:
    name = CLUB + "M%C3%B6we.txt"
    shown.far.documents[name] = b"A"
    shown.say("READ club:Moewe.txt")
    assert asked(shown) == CLUB + "Moewe.txt"
    assert [record[28:].strip() for record in shown.records("LIST club:")] == ["Moewe.txt", "notes.txt"]
    for line in ("TEXT club:Moewe.txt", "READ club:MOEWE.txt", "PICK club:Moewe.txt $ $.x"):
        shown.say(line)
        assert asked(shown) == name
    shown.say("BASE club:")
    shown.say("SET typed=lower charset=latin1")
    shown.say("READ Moewe.txt")
    assert asked(shown) == name


def test_short_names_have_the_catalogues_letters(shown: FarTalk) -> None:
    shown.say("SET names=8.3")
    assert [record[28:].strip() for record in shown.records("LIST club:")] == ["MOEWE.TXT", "NOTES.TXT"]


def test_what_erases_takes_it_exactly_and_what_creates_never(shown: FarTalk) -> None:
    name = CLUB + "M%C3%B6we.txt"
    shown.far.documents = {name: b"A", CLUB + "notes.txt": b"N"}
    shown.say("LIST club:")
    assert shown.status("ERASE club:MOEWE.txt")[:3] == "550"
    assert shown.status("RENAME club:MOEWE.txt club:x")[:3] == "550"
    assert shown.status("COPY club:notes.txt club:Moewe.txt")[:3] == "250"
    assert shown.far.documents[CLUB + "Moewe.txt"] == b"N"
    assert shown.status("ERASE club:Moewe.txt")[:3] == "250"
    assert set(shown.far.documents) == {name, CLUB + "notes.txt"}
    shown.say("LIST club:")
    shown.ready("STORE club:NOTES.TXT")
    shown.say(">new")
    assert shown.status(".")[:3] == "250"
    assert shown.url("NOTES.TXT") == b"new\n"
    assert shown.records("READ club:NOTES.TXT")[0].rstrip() == "6E65770A"
    shown.ready("APPEND club:Moewe.txt")
    shown.say(".")
    assert shown.url("Moewe.txt") == b""
    assert shown.status("MKDIR club:MOEWE.txt/")[:3] == "250"
    assert CLUB + "MOEWE.txt/" in shown.far.listings
    shown.say("LIST club:")
    assert shown.status("RENAME club:notes.txt club:Moewe.txt")[:3] == "250"
    shown.say("LIST club:")
    assert shown.status("ERASE club:Moewe.txt")[:3] == "250"
    assert name not in shown.far.documents
