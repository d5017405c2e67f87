"""Every kind of request over every adapter: recorded live against real servers, played without a network, and
the replies are the same, byte for byte.
"""

from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from tests.recorded import third_party
from tests.recorded.places import PASSWORD, PLACES, Place, folder
from tests.recorded.twice import Twice, codes

_SOURCES = """
[gateway]
state = "state"
[[listen]]
port = 0
[source.rows]
about = "Rows of a table"
url = "p:table.json"
rows = "$.rows[*]"
[[source.rows.field]]
name = "N"
at = "$.n"
kind = "int"
width = 4
[[source.rows.field]]
name = "TOWN"
at = "$.town"
width = 8
[source.marks]
url = "p:{which}.xml"
args = ["which"]
rows = "//mark"
[[source.marks.field]]
name = "AT"
at = "@at"
kind = "fixed"
width = 7
[source.lists]
url = "p:table.csv"
sort = "N"
descending = true
[[source.lists.field]]
name = "N"
at = "n"
kind = "int"
width = 3
[source.wrong]
url = "p:long.txt"
format = "json"
[[source.wrong.field]]
name = "N"
width = 3
[source.gone]
url = "p:gone.json"
stale = "1d"
[[source.gone.field]]
name = "N"
width = 3
"""
_DOCUMENTS = {
    "table.json": b'{"rows": [%s]}'
    % b", ".join(b'{"n": %d, "town": "Town %d"}' % (each, each) for each in range(1, 8)),
    "marks.xml": b"<m><mark at='1.005'/><mark at='-0.004'/><mark/></m>",
    "table.csv": b"n,town\n3,Mole\n1,Quay\n2,Bar\n",
    "long.txt": b"".join(
        b"Line %d of a text that is longer than forty columns are.\r\n" % n for n in range(9)
    ),
    "page.html": b"<title>T</title><h1>Page</h1><p>With <a href='table.csv'>a link</a>.</p>",
    "bytes.bin": bytes(range(256)) * 3,
    "sub/deep.txt": "Größe, deep down\n".encode(),
    "sub/less/well.txt": b"Water\n",
    "empty.txt": b"",
}
"""What is in the place beforehand."""

ASKING = (
    "HELP", "HELP ASK", "NOOP tide", "TIME", "TIME Europe/Lisbon", "SOURCES", "LAYOUT rows", "SET page=3",
    "ASK rows", "MORE", "MORE", "AGAIN", "AGAIN 2", "MORE", "WHY", "ASK marks marks", "WHY", "ASK lists",
    "AGAIN", "SET page=0", "ASK rows", "PICK p:table.json $.rows[*] $.n:4i $.town:8",
    "PICK p:table.csv - n:3i", "WHY", "ASK wrong", "ASK gone", "WHY", "ASK marks other", "ASK nothing",
    "TELL rows", "SET cols=16 most=16", "ASK lists", "PICK p:table.json $.rows[*] $.town:40",
    "SET most=255",
)  # fmt: skip
READING = (
    "LIST p:", "WHY", "NAME #1", "NAME #2", "READ #2 0 20", "LIST p:sub/", "NAME #1", "TEXT p:sub/deep.txt",
    "BASE p:sub/", "LIST", "TEXT deep.txt", "LIST less/", "TEXT #1", "READ ../bytes.bin 0 4", "BASE",
    "TEXT p:long.txt", "WHY", "TEXT p:long.txt flow", "TEXT p:page.html", "NAME #1", "TEXT #1",
    "TEXT p:empty.txt", "READ p:bytes.bin", "READ p:bytes.bin 100 20", "WHY", "READ p:bytes.bin 760",
    "READ p:bytes.bin 5000 3", "READ p:bytes.bin B1", "READ p:bytes.bin B5", "READ p:bytes.bin B6",
    "SET bytes=raw page=0", "READ p:bytes.bin 0 64", "SET bytes=ihex", "READ p:bytes.bin 250 40",
    "SET bytes=line", "READ p:long.txt", "SET plain", "SET page=2", "READ p:bytes.bin", "MORE", "MORE",
    "MORE", "SET names=8.3 order=size", "LIST p:", "MORE", "NAME #3", "SET plain",
    "SET window=4 check=crc mark=on cols=32", "TEXT p:long.txt", "", "", "AGAIN", "", "", "", "", "", "",
    "", "SET plain", "TEXT p:nothing.txt", "WHY", "READ p:nothing.txt", "READ p:sub/", "LIST p:nowhere/",
    "LIST p:long.txt", "TEXT p:../out.txt", "TEXT nowhere:x", "WHY",
)  # fmt: skip
CHANGING = (
    "STORE p:note.txt", ">One line", ">and another", ".", "WHY", "TEXT p:note.txt", "STORE p:counted.bin 6",
    "12345", "READ p:counted.bin", "APPEND p:note.txt", ">More of it", ".", "WHY", "TEXT p:note.txt",
    "APPEND p:log.txt", ">First", ".", "STORE p:note.txt", ">Other", "NOOP in the middle",
    "TEXT p:note.txt", "STORE p:none/note.txt", ">x", ".", "WHY", "STORE p:sub", ">x", ".",
    "COPY p:note.txt p:copy.txt", "WHY", "TEXT p:copy.txt", "COPY p:bytes.bin shelf:bytes.bin", "WHY",
    "COPY shelf:from.txt p:from.txt", "TEXT p:from.txt", "COPY p:nothing.txt shelf:x", "WHY",
    "RENAME p:copy.txt p:moved.txt", "TEXT p:moved.txt", "RENAME p:moved.txt p:note.txt",
    "RENAME p:gone p:x", "RENAME p:moved.txt shelf:moved.txt", "WHY", "TEXT p:moved.txt", "LIST p:",
    "MKDIR p:new", "MKDIR p:new", "WHY", "LIST p:new/", "STORE p:new/x.txt", ">x", ".", "ERASE p:new",
    "ERASE p:new/x.txt", "ERASE p:new/", "ERASE p:new", "ERASE p:from.txt", "ERASE p:from.txt", "WHY",
    "LIST p:", "LIST p:sub",
)  # fmt: skip
WRONG = (
    "ASK rows", "PING", "SET cols=999", "ASK rows too many args", "READ p:bytes.bin x", "TEXT", "LOGIN a b",
    "TALK p:x", "HEAR 1", "TELL nothing", "MORE", "AGAIN", "ERASE p:", "COPY p:note.txt",
    "TEXT ftp://x.example/y", "BYE",
)  # fmt: skip
_numbers = count()


@pytest.fixture(scope="module", params=PLACES)
def running(request: pytest.FixtureRequest) -> Iterator[Place]:
    with PLACES[request.param]() as place:
        yield place


@pytest.fixture
def place(running: Place) -> Place:
    """A folder of its own, with the documents."""
    made = running.within(f"p{next(_numbers)}")
    for path, body in _DOCUMENTS.items():
        made.put(path, body)
    return made


@pytest.fixture
def twice(place: Place, tmp_path: Path) -> Iterator[Twice]:
    with folder() as shelf:
        shelf.put("from.txt", b"Something from the shelf\n")
        path = tmp_path / "headrace.toml"
        path.write_text(_SOURCES + place.named("p") + shelf.named("shelf"))
        (tmp_path / "password").write_text(PASSWORD)
        yield Twice(path, tmp_path / "site")


def lose(place: Place, twice: Twice) -> None:
    """What was there is there no more, and nor are the keys."""
    (twice.catalogue.parent / "password").unlink()
    if place.folder is None:
        third_party.CONTENTS.clear()
    else:
        place.folder.rename(place.folder.with_name(f"{place.folder.name}-gone"))


async def both(place: Place, twice: Twice, *requests: str) -> list[bytes]:
    """Said live and played, which is the same."""
    live = await twice.live(*requests)
    lose(place, twice)
    assert await twice.played(*requests) == live
    return live


async def test_asking(place: Place, twice: Twice) -> None:
    live = await both(place, twice, *ASKING)
    assert {200, 502, 550, 551, 552} <= codes(live)
    assert b"   7 Town 7  \r\n" in b"".join(live)


async def test_reading(place: Place, twice: Twice) -> None:
    live = await both(place, twice, *READING)
    assert {200, 550} <= codes(live)
    assert b"Grosse, deep down" in b"".join(live)
    assert sum(each.startswith(b"200") for each in live) > 50


async def test_changing(place: Place, twice: Twice) -> None:
    live = await both(place, twice, *CHANGING)
    assert {200, 250, 350, 503, 550} <= codes(live)
    assert sum(each.startswith(b"250") for each in live) >= 8


async def test_what_is_wrong(place: Place, twice: Twice) -> None:
    live = await both(place, twice, *WRONG)
    assert {221, 500, 501, 502, 503} <= codes(live)


@pytest.mark.parametrize("running", ["file"], indirect=True)
async def test_all_in_two_sessions(place: Place, twice: Twice) -> None:
    """A second gateway that records goes on where the first one ended; one that plays plays both."""
    requests = (*ASKING, *READING, *CHANGING)
    first = await twice.live(*requests)
    second = await twice.live(*READING)
    lose(place, twice)
    assert await twice.played(*requests, "SET plain", *READING) == [*first, b"200 00000 000 ..\r\n", *second]


@pytest.mark.parametrize("running", ["ftp"], indirect=True)
async def test_a_copy_that_was_refused_before_it_began(place: Place, twice: Twice) -> None:
    live = await both(place, twice, "COPY shelf:from.txt p:none/from.txt", "WHY")
    assert codes(live) == {200, 550}
