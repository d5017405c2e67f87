"""COPY, ERASE, RENAME and MKDIR (CONTRACT section 3): what may be done to what, and what is answered."""

import pytest

from adapters.errors import ChangedMeanwhile, MayBeDone
from gateway.catalogue.model import Place
from gateway.session.wishes import Act, ActWish, time_is_up
from tests.gateway.session.files.far import CLUB, Far, FarTalk, catalogue, far_talk

SHELF = "https://far.example/shelf/"


@pytest.fixture
def talk() -> FarTalk:
    return far_talk(Far({CLUB + "a": b"A", CLUB + "docs/b": b"B", SHELF + "s%20t": b"S"}))


@pytest.mark.parametrize(
    ("line", "act", "source", "to"),
    [
        ("COPY club:a club:b", Act.COPY, CLUB + "a", CLUB + "b"),
        ("COPY club:a dos:a", Act.COPY, CLUB + "a", "dav://far.example/dos/a"),
        ("COPY 'shelf:s t' club:", Act.COPY, SHELF + "s%20t", CLUB + "s%20t"),
        ("COPY club:docs/b club:new/", Act.COPY, CLUB + "docs/b", CLUB + "new/b"),
        ("COPY club:docs/b /", Act.COPY, CLUB + "docs/b", CLUB + "b"),
        ("RENAME club:a club:b", Act.RENAME, CLUB + "a", CLUB + "b"),
        ("REN club:a docs/a", Act.RENAME, CLUB + "a", CLUB + "x/docs/a"),
        ("ERASE club:a", Act.ERASE, CLUB + "a", None),
        ("ERA /a", Act.ERASE, CLUB + "a", None),
        ("MKDIR club:new", Act.MAKE_FOLDER, CLUB + "new", None),
        ("MKD club:new/", Act.MAKE_FOLDER, CLUB + "new/", None),
    ],
)
def test_what_is_wished_for(talk: FarTalk, line: str, act: Act, source: str, to: str | None) -> None:
    talk.say("BASE club:x/")
    assert talk.say(line) == ("250 00000 000 ..", [])
    (wish,) = talk.wishes
    assert isinstance(wish, ActWish)
    assert (wish.act, wish.ref.url, wish.to and wish.to.url) == (act, source, to)


def test_copying_from_a_typed_url(talk: FarTalk) -> None:
    talk.far.documents["https://open.example/a/page.html?x=1"] = b"P"
    assert talk.status("COPY https://open.example/a/page.html?x=1 club:docs/") == "250 00000 000 .."
    assert talk.url("docs/page.html") == b"P"


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("COPY club:a", "501"),
        ("COPY club:a club:b club:c", "501"),
        ("ERASE", "501"),
        ("ERASE club:a club:b", "501"),
        ("RENAME club:a", "501"),
        ("MKDIR", "501"),
        ("COPY club:a club:a", "501"),
        ("COPY club:a club:", "501"),
        ("RENAME club:a club:a/", "501"),
        ("COPY club: dos:", "502"),
        ("COPY club:docs/ dos:", "502"),
        ("COPY https://open.example/ club:", "502"),
        ("ERASE club:", "502"),
        ("RENAME club: club:x", "502"),
        ("RENAME club:x club:", "502"),
        ("MKDIR club:", "502"),
        ("COPY club:a shelf:a", "532"),
        ("COPY club:a https://open.example/a", "532"),
        ("RENAME shelf:a club:a", "532"),
        ("RENAME club:a shelf:a", "532"),
        ("ERASE shelf:a", "532"),
        ("ERASE https://open.example/a", "532"),
        ("MKDIR shelf:a", "532"),
        ("ERASE nowhere:a", "550"),
    ],
)
def test_what_is_refused_before_anything_is_asked(talk: FarTalk, line: str, code: str) -> None:
    assert talk.status(line) == f"{code} 00001 040 .."
    assert not talk.wishes


def test_copy_only_reads_its_first_ref(talk: FarTalk) -> None:
    assert talk.status("COPY 'shelf:s t' club:x") == "250 00000 000 .."
    assert talk.url("x") == b"S"


def test_faults_pass(talk: FarTalk) -> None:
    assert talk.status("ERASE club:none")[:3] == "550"
    talk.far.fault = lambda _: ChangedMeanwhile("Something has that name")
    assert talk.status("RENAME club:a club:b")[:3] == "555"
    talk.far.fault = time_is_up
    assert talk.status("ERASE club:a")[:3] == "558"


def test_what_takes_too_long_may_be_done() -> None:
    """CONTRACT section 2: never 4xx once the far server may have acted."""
    talk = far_talk(Far({CLUB + "a": b""}))
    talk.say("ERASE club:a")
    assert isinstance(time_is_up(talk.wishes[0]), MayBeDone)


def test_a_copy_that_goes_on_is_150_and_why_tells_how_far(talk: FarTalk) -> None:
    talk.far.code = 150
    assert talk.say("COPY club:a club:b") == (
        "150 00001 040 ..",
        ["Begun; WHY tells how far it is".ljust(40)],
    )
    for copied in (5, 10):
        talk.far.copied = copied
        assert f"COPIED   {copied} bytes" in [record.rstrip() for record in talk.records("WHY")]
    talk.say("SET cols=16")
    assert talk.say("COPY club:a club:b") == ("150 00001 016 ..", ["Begun; WHY tells"])


@pytest.mark.parametrize(
    "line",
    [
        "ERASE web:a#b",
        "RENAME web:a#b web:c",
        "RENAME web:c web:a#b",
        "COPY club:a web:a#b",
        "MKDIR web:a#b",
        "STORE web:a#b",
        "APPEND web:a#b 5",
        "ERASE a#b",
    ],
)
def test_what_is_behind_a_hash_is_never_lost_from_what_is_changed(line: str) -> None:
    """With a web server `a#b` is the document `a` (RFC 3986 section 3.5), which is not to be changed."""
    web = Place("WEB", "https://far.example/web/", write=True)
    talk = far_talk(Far({CLUB + "a": b"A", web.base + "a": b"W"}), lambda: catalogue(WEB=web))
    talk.say("BASE web:")
    assert talk.status(line)[:3] == "501"
    assert not talk.wishes
    assert talk.status("READ web:a#b")[:3] == "200"
    assert talk.status(line.replace("web:a#b", "club:a#b").replace(" a#b", " club:a#b"))[:3] != "501"
