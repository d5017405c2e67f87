"""The dialogue: what is typed at a counter, and what is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import FarBusy
from gateway.catalogue.model import Place
from gateway.session.counter.steps import Came, Listen, Said, Say
from gateway.session.wishes import ListWish, ReadWish, StageWish, TextWish, Wish
from tests.gateway.session.counter.clients import PLAIN, Client, with_settings
from tests.gateway.session.files.far import CLUB, Far, catalogue, entries

ECHO = with_settings(echo=True)


def far() -> Far:
    return Far(
        documents={CLUB + "a.txt": b"A", CLUB + "docs/b.txt": b"B"},
        listings={CLUB: entries("a.txt", "docs/"), CLUB + "docs/": entries("b.txt")},
    )


def refs(client: Client) -> list[str]:
    kinds = (ListWish, ReadWish, TextWish, StageWish)
    return [wish.ref.whole for wish in client.wishes if isinstance(wish, kinds)]


def test_it_says_who_it_is() -> None:
    assert Client().told() == b"This is CLUB. You can read and store\r\nhere; HELP tells how.\r\n> "
    assert Client(ref="SHELF:").told().startswith(b"This is SHELF. You can read here; HELP")


def test_it_is_busy_as_long_as_records_are_shown() -> None:
    """Nothing of a reply on its way is forgotten for want of memory, and afterwards it may be."""
    client = Client(far())
    records = client.ask("LIST")
    assert client.told_busily == b"".join(each.encode() + b"\r\n" for each in records)
    assert not client.counter.busy


@pytest.mark.parametrize(
    ("lines", "wished", "answer"),
    [
        (["LIST"], ["CLUB:"], "   1 F         7 2026-03-01 a.txt|   2 D           2026-03-01 docs"),
        (["LIST docs"], ["CLUB:docs"], "   1 F         7 2026-03-01 b.txt"),
        (["base docs"], [], "You are in CLUB:docs/"),
        (["BASE docs", "LIST"], ["CLUB:docs/"], "   1 F         7 2026-03-01 b.txt"),
        (["BASE docs/", "BASE .."], [], "You are in CLUB:"),
        (["BASE docs", "BASE"], [], "You are in CLUB:"),
        (["BASE docs", "TEXT b.txt"], ["CLUB:docs/b.txt"], "One [1]|two|three [2]"),
        (["LIST", "TEXT #1"], ["CLUB:", "CLUB:a.txt"], "One [1]|two|three [2]"),
        (["LIST", "BASE #2", "LIST"], ["CLUB:", "CLUB:docs/"], "   1 F         7 2026-03-01 b.txt"),
        (["LIST nope"], ["CLUB:nope"], "No such folder"),
        (["LIST nope", "TEXT #1"], ["CLUB:nope"], "The last LIST failed; LIST again"),
        (["READ docs/"], [], "That is a folder"),
        (["STORE docs/"], [], "A folder takes no data; add a name"),
        (["", "  "], [], ""),
        (["nonsense"], [], "That is no command; HELP lists them"),
        (["x" * 300], [], "A line holds 255 bytes at most"),
        (["LIST \x01"], ["CLUB:"], "   1 F         7 2026-03-01 a.txt|   2 D           2026-03-01 docs"),
        (["LIST \xff"], [], "Byte FF hex is not in the charset"),
    ],
)
def test_lines_and_answers(lines: list[str], wished: list[str], answer: str) -> None:
    client = Client(far())
    *_, last = [client.ask(line) for line in lines]
    assert "|".join(last) == answer
    assert refs(client) == wished


@pytest.mark.parametrize("command", ["LIST {}", "TEXT {}", "READ {}", "STORE {}", "BASE {}"])
@pytest.mark.parametrize(
    ("ref", "sentence"),
    [
        ("shelf:a.txt", "Only CLUB is to be had here"),
        ("http://open.example/a.txt", "Only CLUB is to be had here"),
        ("file:///etc/passwd", "A file URL may not be typed"),
        ("..%2Fa.txt", "A ref may not leave its place"),
        ("..\\a.txt", "A ref may not leave its place"),
        ("none:a.txt", "No place NONE"),
    ],
)
def test_nothing_outside_the_place(command: str, ref: str, sentence: str) -> None:
    client = Client(far())
    assert " ".join(client.ask(command.format(ref))) == sentence
    assert client.wishes == []


def test_dots_stay_in_the_place() -> None:
    client = Client(far(), ref="CLUB:docs/")
    client.ask("TEXT ../../../a.txt")
    assert refs(client) == ["CLUB:a.txt"]


@pytest.mark.parametrize("line", ["STORE", "STORE a.txt", "STORE a.txt xmodem"])
def test_a_place_for_reading_only(line: str) -> None:
    client = Client(ref="SHELF:")
    assert client.ask(line) == ["SHELF is for reading only"]
    assert client.wishes == []


def test_a_line_that_is_not_clean() -> None:
    client = Client(far(), unclean="This line has 7 bits")
    for line in ("READ a.txt", "STORE", "STORE x xmodem"):
        assert client.ask(line) == ["This line has 7 bits"]
    assert client.wishes == []
    assert client.ask("TEXT a.txt") == ["One [1]", "two", "three [2]"]


def test_errors_are_told_and_it_goes_on() -> None:
    def fault(wish: Wish) -> FarBusy | None:
        return (
            FarBusy("The far server is busy") if isinstance(wish, ListWish | ReadWish | StageWish) else None
        )

    client = Client(Far(fault=fault))
    for line in ("LIST", "READ a xmodem", "STORE a"):
        assert client.ask(line) == ["The far server is busy"]


def test_leaving() -> None:
    client = Client()
    client.told()
    client.type(b"bye\rLIST\r")
    assert client.told() == b"Goodbye\r\n"
    assert client.over
    assert client.wishes == []


def test_echo_and_rubbing_out() -> None:
    client = Client(far(), ECHO)
    client.told()
    client.type(b"LIZ\x08ST\x7fT no\x18BASX\x7fE\r\n")
    assert client.told() == b"LIZ\b \bST\b \bT no\r\n> BASX\b \bE\r\nYou are in CLUB:\r\n> "


def test_without_echo_nothing_of_what_is_typed_comes_back() -> None:
    client = Client(far(), PLAIN)
    client.told()
    client.type(b"BASE\r")
    assert client.told() == b"You are in CLUB:\r\n> "


def test_can_drops_lines_that_wait() -> None:
    client = Client(far())
    client.told()
    client.type(b"LIST\rTEXT a.txt\r\x18BASE\r")
    assert client.told() == b"\r\n> You are in CLUB:\r\n> "
    assert client.wishes == []


def test_can_stops_a_long_answer() -> None:
    names = [f"{each:05}.txt" for each in range(5_000)]
    client = Client(Far(listings={CLUB: entries(*names)}))
    client.told()

    def comes(wish: Wish) -> None:
        """Before the first piece is said."""
        if isinstance(wish, ListWish):
            client._came += b"\x18"

    client.far.fault = comes
    client.type(b"LIST\r")
    told = client.told()
    assert 0 < told.count(b".txt") < 200
    assert told.endswith(b".txt\r\n\r\n> ")
    assert client.ask("BASE") == ["You are in CLUB:"]


def test_all_pages_of_a_long_answer() -> None:
    names = [f"{each:05}.txt" for each in range(5_000)]
    client = Client(Far(listings={CLUB: entries(*names)}, partial=True), with_settings(page=20))
    *lines, last = client.ask("LIST")
    assert [each[-9:] for each in lines] == names
    assert last == "That is not all; the rest was left out"


def test_settings_that_are_for_replies_only() -> None:
    """A mark, a guard or a check would be part of what a person reads."""
    client = Client(far(), with_settings(mark=True, guard=True, check="crc", window=2, page=1))
    assert client.ask("LIST")[0] == "   1 F         7 2026-03-01 a.txt"
    assert client.ask("BASE") == ["You are in CLUB:"]


def test_a_machine_of_capitals_in_twenty_columns() -> None:
    client = Client(far(), with_settings(case="upper", typed="lower", cols=20))
    assert client.ask("TEXT A.TXT") == ["ONE [1]", "TWO", "THREE [2]"]
    assert refs(client) == ["CLUB:a.txt"]
    assert client.ask("LIST") == ["   1 F A.TXT", "   2 D DOCS"]


def test_a_place_that_changes_meanwhile() -> None:
    client = Client(far())
    client.known = catalogue(CLUB=Place("CLUB", CLUB))
    assert client.ask("STORE a.txt") == client.ask("STORE") == ["CLUB is for reading only"]
    client.known = catalogue(CLUB=Place("CLUB", "ftp://elsewhere.example/"))
    for line in ("LIST", "BASE", "STORE"):
        assert client.ask(line) == ["Place CLUB is not as it was"]


SESSION = (
    b"LIST\r\nBASE docs\x7fs\rTEXT b.txt\n\nnonsense\rREAD nope\rHELP\rBASE\rSTORE a b c\r\x00LIS\tdocs/\r"
)
WHOLE = Client(far(), ECHO)
WHOLE.type(SESSION)
TOLD = WHOLE.told()


@given(st.lists(st.integers(1, 40), max_size=20))
def test_pieces_do_not_matter(sizes: list[int]) -> None:
    client, rest = Client(far(), ECHO), SESSION
    for size in [*sizes, len(SESSION)]:
        client.type(rest[:size])
        rest = rest[size:]
    assert client.told() == TOLD


def test_byte_by_byte() -> None:
    client = Client(far(), ECHO)
    for byte in SESSION:
        client.type(bytes([byte]))
    assert client.told() == TOLD


def test_an_empty_folder() -> None:
    client = Client(Far(listings={CLUB: []}))
    assert client.ask("LIST") == ["Nothing is there"]


def test_a_text_of_more_pages_than_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Five digits count 99,999 records; here, as if they counted two."""
    monkeypatch.setattr(limits, "PAGE_RECORDS", 2)
    assert Client(far()).ask("TEXT a.txt") == ["One [1]", "two", "three [2]"]


def test_who_hangs_up_before_a_transfer_begins_leaves_nothing_behind() -> None:
    client = Client(far())
    steps, want, typed = client.steps, client._want, b"STORE b.txt\r"
    while not client.far.trays:
        match want:
            case Listen():
                want, typed = steps.send(Came(typed, client.now)), b""
            case Say():
                want = steps.send(Said(client.now, cancelled=False))
            case _:
                want = steps.send(client.far.grant(want))
    steps.close()
    assert [each.dropped for each in client.far.trays] == [1]
