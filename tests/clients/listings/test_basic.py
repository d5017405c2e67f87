"""Generated BASIC programs are run against a real gateway, each under an interpreter of its kind.

What they print is held against the rows that the far server gave, laid out here by Python's own formatting.
"""

import json
import os
import re
import socket
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from gateway.listings.basic import parts
from tests.clients.listings.basic_jobs import Job, Runs, listing, rows_shown, who
from tests.clients.listings.basics import Basic, bwbasic, every_basic
from tests.clients.listings.damaging import damaging
from tests.gateway.commands.processes import HEADRACE, ROOT

ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
CATALOGUE = """
[[listen]]
port = 0
[source.board]
about = "Who is expected, and how much of it"
url = "{url}board"
rows = "$[*]"
[[source.board.field]]
name = "WHO"
at = "$.who"
width = 14
[[source.board.field]]
name = "COUNT"
at = "$.count"
kind = "int"
width = 6
[[source.board.field]]
name = "LENGTH"
at = "$.length"
kind = "fixed"
width = 8
[source.long]
url = "{url}board"
rows = "$[*]"
[[source.long.field]]
name = "COUNT"
at = "$.count"
kind = "int"
width = 5
[[source.long.field]]
name = "NOTE"
at = "$.note"
width = 60
[source.word]
about = "One word sent back"
url = "{url}word{{?word,times}}"
args = ["word", "times:int"]
[[source.word.field]]
name = "WORD"
at = "$.word"
width = 20
[source.gone]
url = "{url}nothing"
[[source.gone.field]]
name = "X"
width = 4
[source.empty]
url = "{url}empty"
rows = "$[*]"
[[source.empty.field]]
name = "X"
width = 4
[source.add]
about = "Adds one to the list"
url = "{url}list"
method = "POST"
args = ["name"]
body = {{ name = "{{name}}" }}
[[source.add.field]]
name = "ADDED"
at = "$.added"
width = 8
[source.sign]
about = "Signs the guest book"
url = "{url}book"
method = "POST"
body = "lines"
[[source.sign.field]]
name = "LINES"
at = "$.lines"
kind = "int"
width = 5
"""

ROWS = [
    {"who": 'Otter, the "grey"', "count": 7, "length": "12.5", "note": "first: a comma, then; more" * 2},
    {"who": "Heron", "count": 32768, "length": "0.105", "note": ""},
    {"who": " Moewe", "count": 99999, "length": "-3", "note": "x" * 60},
    {"who": "Pike: 2", "count": -1, "length": "1000", "note": "a backslash \\ and \\n none"},
    {"who": "Eel", "count": 40, "length": "7.25", "note": "200 00000 000 .. is no status line here"},
    {"who": "Perch", "count": 41, "length": "8.25", "note": "end"},
    {"who": "Tench", "count": 42, "length": "9.25", "note": "END"},
]


@dataclass(frozen=True)
class Far:
    """The gateway's port, the folder with its catalogue, and what the far server was sent."""

    port: int
    folder: Path
    posted: list[str] = field(default_factory=list)
    booked: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def far(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Far]:
    folder, posted, booked = tmp_path_factory.mktemp("gateway"), list[str](), list[str]()
    with HTTPServer(port=0) as server:
        server.expect_request("/board").respond_with_json(ROWS)
        server.expect_request("/nothing").respond_with_data("", status=404)
        server.expect_request("/empty").respond_with_json([])
        server.expect_request("/word", query_string={"word": "TWO WORDS", "times": "3"}).respond_with_json(
            {"word": "two words"}
        )
        server.expect_request("/list", method="POST").respond_with_handler(_post(posted))
        server.expect_request("/book", method="POST").respond_with_handler(_book(booked))
        (folder / "headrace.toml").write_text(CATALOGUE.format(url=server.url_for("/")))
        with subprocess.Popen(
            [*HEADRACE, "serve"], cwd=folder, env=ENVIRONMENT, stderr=subprocess.PIPE
        ) as served:
            try:
                assert served.stderr is not None
                found = re.search(rb"listening on 127\.0\.0\.1:([0-9]+)", served.stderr.readline())
                assert found
                yield Far(int(found[1]), folder, posted, booked)
            finally:
                served.terminate()
                served.communicate(timeout=30)
        assert served.returncode == 0


def _post(posted: list[str]) -> Callable[[Request], Response]:
    def respond(request: Request) -> Response:
        name = str(request.get_json()["name"])
        posted.append(name)
        return Response(json.dumps({"added": name}), content_type="application/json")

    return respond


def _book(booked: list[str]) -> Callable[[Request], Response]:
    def respond(request: Request) -> Response:
        booked.append(request.get_data(as_text=True))
        return Response(json.dumps({"lines": booked[-1].count("\n")}), content_type="application/json")

    return respond


def board(row: dict[str, object]) -> dict[str, str]:
    """A row as BOARD lays it out: text left and cut, numbers right, halves away from zero."""
    length = Decimal(str(row["length"])).quantize(Decimal("0.01"), ROUND_HALF_UP)
    return {
        "WHO": f"{str(row['who']).strip()[:14]:14}",
        "COUNT": f"{row['count']:6}",
        "LENGTH": f"{length:8}",
    }


WIDE = {"WHO": 14, "COUNT": 6, "LENGTH": 8}
SETTINGS = {
    "as it comes": (),
    "three pages, no window": ("--set", "page=3", "window=0"),
    "mark and guard, window of 2": ("--set", "mark=on", "guard=on", "window=2"),
    "sum, window of 1": ("--set", "check=sum", "window=1"),
    "crc, pages, window, mark": ("--set", "check=crc", "page=3", "window=2", "mark=on"),
}
# What follows a damaged line of a reply without a window comes once more and is thrown away, where it may be
# damaged too: so those that are to be damaged again are there twice.
DOWN = (b"200 00000 000 ..", b"200 00003", b"Heron", b"Heron", b"Pike", b"Perch", b"Perch", b"200 00001")
JOBS = {
    "garbled, crc in windows": Job(
        "board", (), ("--set", "check=crc", "page=3", "window=2"), DOWN, (b"ASK BOARD", b"MORE")
    ),
    "garbled, sum without": Job(
        "board", (), ("--set", "check=sum", "page=3", "window=0"), DOWN, (b"ASK BOARD", b"MORE")
    ),
    "garbled in one page": Job(
        "board", (), ("--set", "check=sum", "window=0"), (b"Heron", b"Heron", b"Pike", b"Pike")
    ),
    **{
        f"NOOP garbled, {name}": Job(
            "board",
            (),
            ("--set", "check=sum", "page=4", f"window={window}"),
            (record, b"200 00000 000 ..", b"200 00000 000 .."),
            (b"NOOP",),
            in_turn=True,
        )
        for name, window, record in (
            ("two records left", 0, b"Heron"),
            ("window of 1", 1, b"Heron"),
            ("window of 3, one left", 3, b"Otter"),
            ("window of 3, none left", 3, b"Heron"),
        )
    },
    "NOOP garbled, after a status line": Job(
        "board", (), ("--set", "check=sum", "window=1"), (b"200 00007", b"200 00000 000 .."), in_turn=True
    ),
    "caseswap": Job("board", (), ("--set", "charset=caseswap")),
    "given up": Job("board", (), ("--set", "check=sum", "window=2"), (b"Heron",) * 30),
    **{name: Job("board", (), words) for name, words in SETTINGS.items()},
    "long": Job("long"),
    "word": Job("word", ("TWO WORDS", "3"), ("--set", "typed=asis")),
    "told": Job("add", ("{who}",), ("--set", "check=crc"), (b"200 00001",), (b"TELL",)),
    "error": Job("gone"),
    "none": Job("empty"),
    "lines": Job("sign", (), ("--set", "window=2")),
}


@pytest.fixture(scope="module")
def runs(far: Far, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Runs]:
    made = Runs(far.port, far.folder, tmp_path_factory, JOBS)
    yield made
    made.close()


def expected(basic: Basic, table: dict[int, str] | None = None) -> list[dict[str, str]]:
    """All rows of BOARD; some BASICs have capitals only."""
    rows = [{name: value.translate(table or {}) for name, value in board(row).items()} for row in ROWS]
    if basic.trait == "hash-channel":
        return [{name: value.upper() for name, value in each.items()} for each in rows]
    return rows


@pytest.mark.parametrize("name", SETTINGS)
@every_basic
def test_every_value_is_the_sources(basic: Basic, name: str, runs: Runs) -> None:
    outcome = runs.of(basic, name)
    records, said = rows_shown(outcome.printed, WIDE)
    guard = str.maketrans({",": ";", ":": ".", '"': "'"})
    assert records == expected(basic, guard if "guard=on" in SETTINGS[name] else None), outcome.printed
    assert said == ["END"], outcome.printed


@every_basic
def test_an_error_is_shown_and_ends_it(basic: Basic, runs: Runs, far: Far) -> None:
    """The far server answers 404, which is 550 (CONTRACT section 2)."""
    printed = runs.of(basic, "error").printed
    code, sentence, end = [line.strip() for line in printed if line.strip()]
    assert (code, end) == ("ERROR 550", "END")
    with socket.create_connection(("127.0.0.1", far.port), timeout=10) as client:
        client.sendall(b"ASK GONE\rBYE\r")
        status, record, _ = client.makefile("r", encoding="ascii").read().split("\n", 2)
    assert (status[:3], record.strip().upper()) == ("550", sentence.upper())


@every_basic
def test_no_records_are_no_error(basic: Basic, runs: Runs) -> None:
    assert [line.strip() for line in runs.of(basic, "none").printed if line.strip()] == ["END"]


@every_basic
def test_args_with_blanks_and_a_field_wider_than_the_screen(basic: Basic, runs: Runs) -> None:
    records, said = rows_shown(runs.of(basic, "word").printed, {"WORD": 20})
    assert [each["WORD"].lower() for each in records] == [f"{'two words':20}"]
    assert said == ["END"]
    records, said = rows_shown(runs.of(basic, "long").printed, {"COUNT": 5, "NOTE": 60})
    notes = [f"{str(row['note'])[:60]:60}" for row in ROWS]
    if basic.trait == "hash-channel":
        notes = [each.upper() for each in notes]
    assert [each["NOTE"] for each in records] == notes
    assert said == ["END"]


@pytest.mark.parametrize("name", [name for name in JOBS if name.startswith("garbled")])
@every_basic
def test_garbled_lines_are_asked_for_again(basic: Basic, name: str, runs: Runs) -> None:
    """Status lines of SET, of the first page and of the last, records of all places, and two requests.

    Without a window AGAIN n is record n alone (CONTRACT section 3): those after it have to be asked for too.
    """
    outcome, job = runs.of(basic, name), JOBS[name]
    records, said = rows_shown(outcome.printed, WIDE)
    assert records == expected(basic), outcome.printed
    assert said == ["END"], outcome.printed
    assert sorted(outcome.damage.struck) == sorted(job.down + job.up)
    again = [each.removeprefix(b"AGAIN ") for each in outcome.asked if each.startswith(b"AGAIN ")]
    assert {b"2", b"3"} <= set(again), "of Heron, then of Perch or what follows Heron"
    if not job.up:
        assert again == [b"2", b"2", b"3", b"4", b"4", b"5", b"6", b"7"]


@pytest.mark.parametrize("name", [name for name in JOBS if name.startswith("NOOP")])
@every_basic
def test_noop_is_sent_again_where_its_answer_is_garbled(basic: Basic, name: str, runs: Runs) -> None:
    """Its place among the lines tells that it was the answer, since nothing comes after it."""
    outcome, job = runs.of(basic, name), JOBS[name]
    records, said = rows_shown(outcome.printed, WIDE)
    assert records == expected(basic), outcome.printed
    assert said == ["END"], outcome.printed
    assert sorted(outcome.damage.struck) == sorted(job.down + job.up)
    assert outcome.asked.count(b"NOOP") == len(job.down + job.up), "each damage is answered by one"


@every_basic
def test_caseswap_without_a_check(basic: Basic, runs: Runs) -> None:
    """CONTRACT section 5: upper and lower case change places. Names are the program's own."""
    records, said = rows_shown(runs.of(basic, "caseswap").printed, WIDE)
    rows = [{name: value.swapcase() for name, value in each.items()} for each in expected(basic)]
    assert (records, said) == (rows, ["END"])


def test_without_a_check_the_same_damage_shows(far: Far, tmp_path: Path) -> None:
    """So the test above would notice a program that does not look at the check."""
    text = listing(far.folder, "board", "--for", "structured")
    with damaging(far.port, [b"Heron"]) as damage:
        printed = bwbasic(text, damage.port, tmp_path)
    records, _ = rows_shown(printed, WIDE)
    assert [each["WHO"].strip() for each in records][:3] == ['Otter, the "gr', "Hernn", "Moewe"]


@every_basic
def test_a_source_that_changes_something_is_told_once_whatever_the_line_does(
    basic: Basic, runs: Runs, far: Far
) -> None:
    outcome = runs.of(basic, "told")
    assert re.search(r"Running.*\n.*changes|changes something", outcome.text, re.IGNORECASE)
    records, said = rows_shown(outcome.printed, {"ADDED": 8})
    name = who(basic).lower()
    assert [each["ADDED"].strip().lower() for each in records] == [name]
    assert said == ["END"]
    assert [each.lower() for each in far.posted].count(name) == 1
    assert len(outcome.damage.struck) == 2


@every_basic
def test_a_line_that_stays_bad_is_given_up(basic: Basic, runs: Runs) -> None:
    outcome = runs.of(basic, "given up")
    records, said = rows_shown(outcome.printed, WIDE)
    assert len(records) == 1
    assert said == ["LINE TOO BAD", "END"]
    assert len(outcome.damage.struck) == parts.TRIES + 1


@every_basic
def test_lines_of_text_are_sent_after_the_request(basic: Basic, runs: Runs, far: Far) -> None:
    outcome = runs.of(basic, "lines")
    wanted = re.findall(r'DATA "(.+)"', outcome.text)
    assert wanted[-1] == "."
    assert len(wanted) > 2
    records, said = rows_shown(outcome.printed, {"LINES": 5})
    assert (records, said) == ([{"LINES": f"{len(wanted) - 1:5}"}], ["END"])
    assert "".join(f"{line}\n" for line in wanted[:-1]) in far.booked
