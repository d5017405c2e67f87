"""TEXT and the links that it numbers (CONTRACT section 3)."""

import pytest

from gateway.extract.plan import Style
from gateway.session.wishes import TextWish
from tests.gateway.session.files.far import CLUB, Far, FarTalk, entries, far_talk

LINKS = ("CLUB:docs/two.html", "https://open.example/x", "https://closed.example/")


@pytest.fixture
def talk() -> FarTalk:
    return far_talk(Far(listings={CLUB: entries("a", "b")}, links=LINKS))


def test_text_is_as_wide_as_the_columns_leave(talk: FarTalk) -> None:
    assert talk.say("TEXT club:a") == (
        "200 00003 040 ..",
        [f"{x:40}" for x in ("One [1]", "two", "three [2]")],
    )
    talk.say("SET cols=20 mark=on charset=latin1 zone=Europe/Paris")
    talk.say("TEXT club:a FLOW")
    first, second = talk.wishes
    assert isinstance(first, TextWish)
    assert isinstance(second, TextWish)
    assert (first.columns, first.flow, first.style) == (40, False, Style())
    assert (second.columns, second.flow, second.style) == (19, True, Style("latin1", "Europe/Paris"))


def test_pages_and_what_was_left_out(talk: FarTalk) -> None:
    talk.far.partial = True
    talk.say("SET page=2")
    assert talk.status("TEXT club:a") == "200 00002 040 +."
    assert talk.status("MORE") == "200 00001 040 .L"


@pytest.mark.parametrize("line", ["TEXT", "TEXT club:a flows", "TEXT club:a flow x"])
def test_wrong_words(talk: FarTalk, line: str) -> None:
    assert talk.status(line)[:3] == "501"
    assert not talk.wishes


def test_links_are_refs(talk: FarTalk) -> None:
    talk.say("TEXT club:a")
    assert talk.records("NAME #1")[0].rstrip() == "CLUB:docs/two.html"
    talk.say("TEXT #1")
    wish = talk.wishes[-1]
    assert isinstance(wish, TextWish)
    assert wish.ref.url == CLUB + "docs/two.html"
    talk.say("TEXT #2")
    assert talk.wishes[-1].ref.url == "https://open.example/x"  # type: ignore[union-attr]


def test_links_are_under_policy_when_they_are_used(talk: FarTalk) -> None:
    talk.say("TEXT club:a")
    assert talk.say("READ #3") == ("532 00001 040 ..", ["That link leaves the place; see NAME #3".ljust(40)])
    assert talk.records("NAME #3")[0].rstrip() == "https://closed.example/"
    assert talk.status("READ #4")[:3] == "550"


def test_the_later_of_list_and_text_owns_the_numbers(talk: FarTalk) -> None:
    talk.say("LIST club:")
    talk.say("TEXT club:a")
    assert talk.records("NAME #1")[0].rstrip() == "CLUB:docs/two.html"
    talk.say("LIST club:")
    assert talk.records("NAME #1")[0].rstrip() == "CLUB:a"


def test_a_text_that_shows_no_numbers_leaves_those_that_were_seen_last(talk: FarTalk) -> None:
    talk.far.links = ()
    talk.say("LIST club:")
    assert talk.status("TEXT #1")[:3] == "200"
    assert talk.records("NAME #2")[0].rstrip() == "CLUB:b"
    assert talk.status("TEXT nowhere:a")[:3] == "550"
    assert talk.records("NAME #2")[0].rstrip() == "CLUB:b"


def test_why(talk: FarTalk) -> None:
    talk.far.partial = True
    talk.say("SET cols=80")
    talk.say("TEXT club:a")
    assert [record.rstrip() for record in talk.records("WHY")][2:7] == [
        "FROM     ftp://far.example:21, fetched",
        "AGE      0 s",
        "LINES    3 in all",
        "LINKS    3 numbered",
        "LIMIT    the rest of the document was left out",
    ]


def test_where_a_place_is_on_the_gateways_disk_never_shows(talk: FarTalk) -> None:
    """A page of a `file` place may have `../` in a link; CONTRACT section 2 has no path on disk."""
    talk.far.links = ("file:///srv/other.html", "FILE:///srv/x")
    talk.say("TEXT club:a")
    for line in ("NAME #1", "NAME #2", "READ #1"):
        assert talk.status(line)[:3] == "532"
        assert "srv" not in str(talk.records("WHY"))


def test_many_links_leave_the_place_in_40_columns(talk: FarTalk) -> None:
    talk.far.links = ("https://closed.example/?key=value",) * 9_999
    talk.say("TEXT club:a")
    assert talk.records("READ #9999")[0].rstrip() == "That link leaves the place; NAME #9999"
    assert talk.records("READ #10")[0].rstrip() == "That link leaves the place; NAME #10"
    assert talk.records("NAME #9999")[0].rstrip() == "https://closed.example/?key=value"


def test_a_page_in_no_place_has_no_place_to_leave(talk: FarTalk) -> None:
    talk.say("TEXT https://open.example/a")
    assert talk.records("READ #3")[0].rstrip() == "URLs of that host may not be typed"
