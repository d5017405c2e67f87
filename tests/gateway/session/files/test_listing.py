"""LIST, NAME and `#n` (CONTRACT section 3); the columns themselves are tested with their layout."""

from datetime import UTC, datetime

import pytest

from adapters.errors import FarBusy
from adapters.files import Entry, Kind
from gateway.session.wishes import ActWish, ReadWish, WorkWish
from tests.gateway.session.files.far import CLUB, Far, FarTalk, entries, far_talk

NAMES = ("b.txt", "a.txt", "docs/")
LISTED = [
    "   1 F         7 2026-03-01 a.txt       ",
    "   2 F         7 2026-03-01 b.txt       ",
    "   3 D           2026-03-01 docs        ",
]


@pytest.fixture
def talk() -> FarTalk:
    return far_talk(Far(listings={CLUB: entries(*NAMES), CLUB + "docs/": entries("x", "deep/")}))


def test_list(talk: FarTalk) -> None:
    assert talk.say("LIST club:") == ("200 00003 040 ..", LISTED)


def test_list_without_a_word_lists_the_base(talk: FarTalk) -> None:
    assert talk.status("LIST")[:3] == "501"
    talk.say("BASE club:docs")
    assert talk.status("LIST") == "200 00002 040 .."
    assert talk.wishes[-1].ref.url == CLUB + "docs"  # type: ignore[union-attr]


@pytest.mark.parametrize("line", ["LIST a b", "NAME", "NAME club:x", "NAME #1 #2", "NAME 1", "NAME #x"])
def test_wrong_words(talk: FarTalk, line: str) -> None:
    assert talk.status(line)[:3] == "501"


def test_a_missing_folder_is_550_and_an_empty_one_has_no_records(talk: FarTalk) -> None:
    talk.far.listings[CLUB + "empty/"] = ()
    assert talk.status("LIST club:none") == "550 00001 040 .."
    assert talk.say("LIST club:empty") == ("200 00000 000 ..", [])


def test_pages(talk: FarTalk) -> None:
    talk.say("SET page=2")
    assert talk.say("LIST club:") == ("200 00002 040 +.", LISTED[:2])
    assert talk.say("MORE") == ("200 00001 040 ..", LISTED[2:])
    assert talk.say("AGAIN 1") == ("200 00001 040 ..", LISTED[2:])
    assert len(talk.wishes) == 1


def test_what_the_server_left_out_shows(talk: FarTalk) -> None:
    talk.far.partial = True
    assert talk.status("LIST club:") == "200 00003 040 .L"


@pytest.mark.parametrize(
    ("order", "names"),
    [("name", "a b c"), ("size", "b a c"), ("date", "c b a"), ("sent", "c a b")],
)
def test_order(order: str, names: str) -> None:
    days = {"a": 1, "b": 2, "c": 3}
    sizes = {"a": 20, "b": 30, "c": 10}
    listing = [
        Entry(name.encode(), Kind.FILE, sizes[name], datetime(2026, 1, days[name], 12, tzinfo=UTC))
        for name in "cab"
    ]
    talk = far_talk(Far(listings={CLUB: listing}))
    talk.say(f"SET order={order}")
    assert [record[28:].strip() for record in talk.records("LIST club:")] == names.split()
    assert talk.records("NAME #1")[0].strip() == f"CLUB:{names[0]}"


def test_a_large_folder_is_laid_out_beside_the_others(talk: FarTalk) -> None:
    talk.say("LIST club:")
    assert not any(isinstance(wish, WorkWish) for wish in talk.wishes)
    talk.far.listings[CLUB] = entries(*(f"{number}.txt" for number in range(5_000)))
    assert talk.status("LIST club:") == "200 05000 040 .."
    assert isinstance(talk.wishes[-1], WorkWish)
    assert talk.records("NAME #5000")[0].rstrip() == "CLUB:999.txt"


def test_narrow_and_marked(talk: FarTalk) -> None:
    talk.say("SET mark=on")
    status, records = talk.say("LIST club:") or ("", [])
    assert (status, records[0]) == ("200 00003 040 ..", "!   1 F         7 2026-03-01 a.txt      ")
    talk.say("SET cols=20 mark=off")
    assert talk.records("LIST club:")[2] == "   3 D docs         "


def test_dates_are_in_the_sessions_zone(talk: FarTalk) -> None:
    talk.say("SET zone=Europe/Paris")
    assert talk.records("LIST club:")[0][17:27] == "2026-03-02"


# `#n`


def test_numbers_are_refs_until_the_next_list(talk: FarTalk) -> None:
    talk.say("LIST club:")
    talk.far.documents[CLUB + "b.txt"] = b"B"
    assert talk.records("READ #2")[0].rstrip() == "42"
    assert talk.status("BASE #3") == "200 00000 000 .."
    assert talk.status("LIST") == "200 00002 040 .."
    assert talk.records("NAME #1")[0].rstrip() == "CLUB:docs/deep/"
    talk.say("LIST #1")
    assert talk.wishes[-1].ref.url == CLUB + "docs/deep/"  # type: ignore[union-attr]


def test_a_list_that_fails_leaves_no_older_numbers(talk: FarTalk) -> None:
    """Else `ERASE #1` after a failed LIST would erase an entry of another folder."""
    for line in ("LIST club:none", "LIST nowhere:", "LIST #9", "LIST club:two words", "LIST"):
        talk.say("LIST club:")
        assert talk.status(line)[:3] in {"550", "501"}
        for again in ("ERASE #1", "NAME #1", "LIST #1", "ERASE #1", "LIST #" + "9" * 30):
            assert talk.status(again)[:3] in {"503", "550"}
        assert talk.records("ERASE #1")[0].rstrip() == "The last LIST failed; LIST again"
    assert not any(isinstance(wish, ActWish) for wish in talk.wishes)


@pytest.mark.parametrize("number", ["#0", "#4", "#99999999", "#" + "9" * 100])
def test_numbers_that_are_not_there(talk: FarTalk, number: str) -> None:
    talk.say("LIST club:")
    assert talk.status(f"NAME {number}")[:3] == "550"


def test_names_are_kept_byte_for_byte() -> None:
    """What was listed can be fetched, whatever its bytes; names that a client could not type too."""
    names = [b"caf\xe9", b"a b", b"50%", b"..;x", b"c:\\x", b"?#", "ü".encode()]
    talk = far_talk(Far(listings={CLUB: [Entry(name, Kind.FILE) for name in names]}))
    talk.say("SET order=sent")
    talk.say("LIST club:")
    for number, quoted in enumerate(["caf%E9", "a%20b", "50%25", "..;x", "c:%5Cx", "%3F%23", "%C3%BC"], 1):
        talk.say(f"READ #{number}")
        wish = talk.wishes[-1]
        assert isinstance(wish, ReadWish)
        assert wish.ref.url == CLUB + quoted


def test_name_goes_over_as_many_records_as_it_needs(talk: FarTalk) -> None:
    long = "x" * 90
    talk.far.listings[CLUB] = entries(long)
    talk.say("LIST club:")
    status, records = talk.say("NAME #1") or ("", [])
    assert status == "200 00003 040 .."
    assert "".join(records).rstrip() == f"CLUB:{long}"
    talk.say("SET mark=on")
    assert "".join(record[1:] for record in talk.records("NAME #1")).rstrip() == f"CLUB:{long}"


def test_an_entry_elsewhere_is_of_the_place_or_a_url_under_policy(talk: FarTalk) -> None:
    shelf = "https://far.example/shelf/"
    urls = [shelf + "deep/x.txt", "https://open.example/y", "https://closed.example/z", "file:///etc/passwd"]
    talk.far.listings[shelf] = [
        Entry(f"n{number}".encode(), Kind.FILE, url=url) for number, url in enumerate(urls)
    ]
    talk.say("LIST shelf:")
    assert talk.records("NAME #1")[0].rstrip() == "SHELF:deep/x.txt"
    assert talk.records("NAME #2")[0].rstrip() == "https://open.example/y"
    assert talk.records("NAME #3")[0].rstrip() == "https://closed.example/z"
    for line in ("READ #3", "READ #4", "NAME #4"):
        assert talk.status(line)[:3] == "532"


def test_the_folder_is_where_the_server_says_that_it_is(talk: FarTalk) -> None:
    talk.far.moved[CLUB + "old/"] = CLUB + "new/"
    talk.far.listings[CLUB + "old/"] = entries("x")
    talk.say("LIST club:old/")
    assert talk.records("NAME #1")[0].rstrip() == "CLUB:new/x"


# Short names


def test_short_names_are_shown_and_work_as_refs(talk: FarTalk) -> None:
    talk.far.listings = {
        CLUB: entries("my long letters/", "plain.txt"),
        CLUB + "my%20long%20letters/": entries("to the mayor.text"),
    }
    talk.say("SET names=8.3")
    talk.say("BASE club:")
    shown = [record[28:].strip() for record in talk.records("LIST")]
    assert shown == ["MYLONGLE", "PLAIN.TXT"]
    shown = [record[28:].strip() for record in talk.records("LIST mylongle/")]
    assert shown == ["TOTHEMAY.TEX"]
    talk.far.documents[CLUB + "my%20long%20letters/to%20the%20mayor.text"] = b"A"
    for word in ("MYLONGLE/TOTHEMAY.TEX", "club:MYLONGLE/tothemay.tex", "'my long letters/TOTHEMAY.TEX'"):
        assert talk.records(f"READ {word}")[0].rstrip() == "41"
    assert talk.records("NAME #1")[0].strip() == "CLUB:my%20long%20letters/to%20the%20mayor"[:40]
    talk.say("SET names=long")
    assert talk.status("READ club:MYLONGLE/TOTHEMAY.TEX")[:3] == "550"


def test_short_names_of_entries_that_are_kept_elsewhere(talk: FarTalk) -> None:
    shelf = "https://far.example/shelf/"
    urls = [shelf + "deep/page one.html", "https://open.example/y", shelf + "..%2f..%2fx"]
    talk.far.listings[shelf] = [
        Entry(f"name number {number}".encode(), Kind.FILE, url=url) for number, url in enumerate(urls)
    ]
    talk.say("SET names=8.3 order=sent")
    shown = [record[28:].strip() for record in talk.records("LIST shelf:")]
    assert shown == ["NAMENUMB", "NAMENU-2", "NAMENU-3"]
    for name, url in zip(shown, ["deep/page%20one.html", "NAMENU-2", "NAMENU-3"], strict=True):
        talk.say(f"READ shelf:{name}")
        assert talk.wishes[-1].ref.url == shelf + url  # type: ignore[union-attr]


# WHY


def test_why(talk: FarTalk) -> None:
    talk.far.partial = True
    talk.say("SET cols=80 page=2")
    talk.say("LIST club:")
    told = [record.rstrip() for record in talk.records("WHY")]
    assert told == [
        "REQUEST  LIST club:",
        "REPLY    200 00002 080 +.",
        "FROM     ftp://far.example:21, fetched",
        "AGE      0 s",
        "ENTRIES  3 in all",
        "LIMIT    the far server's listing is not whole",
        "TOOK     list 12.0 ms",
    ]
    talk.say("MORE")
    assert "FROM     ftp://far.example:21, fetched" in [record.rstrip() for record in talk.records("WHY")]


def test_a_far_fault_is_told(talk: FarTalk) -> None:
    talk.far.fault = lambda _: FarBusy("The far server is busy")
    assert talk.say("LIST club:") == ("450 00001 040 ..", ["The far server is busy".ljust(40)])


def test_name_is_changed_by_nothing(talk: FarTalk) -> None:
    """A ref with a colon or small letters is another one, or none, without them."""
    talk.far.listings[CLUB] = entries('Say "a, b".txt')
    talk.say("SET guard=on case=upper mark=on cols=20 page=1")
    talk.say("LIST club:")
    pages = [talk.records("NAME #1"), talk.records("AGAIN 1"), talk.records("MORE")]
    assert pages == [["!CLUB:Say%20%22a,%20"], ["!CLUB:Say%20%22a,%20"], ["!b%22.txt           "]]
