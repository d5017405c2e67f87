"""Generated BASIC programs are run against a real gateway, each under an interpreter of its kind.

What they print is held against the rows that the far server gave, laid out here by Python's own formatting.
"""

import json
import os
import re
import socket
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from gateway.commands.main import main
from gateway.listings.basic import parts
from tests.clients.basics import BASICS, Run, bwbasic
from tests.clients.damaging import damaging
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
    """The gateway's port, the folder with its catalogue, and what was posted to the far server."""

    port: int
    folder: Path
    posted: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def far(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Far]:
    folder, posted = tmp_path_factory.mktemp("gateway"), list[str]()
    with HTTPServer(port=0) as server:
        server.expect_request("/board").respond_with_json(ROWS)
        server.expect_request("/nothing").respond_with_data("", status=404)
        server.expect_request("/empty").respond_with_json([])
        server.expect_request("/word", query_string={"word": "TWO WORDS", "times": "3"}).respond_with_json(
            {"word": "two words"}
        )
        server.expect_request("/list", method="POST").respond_with_handler(_post(posted))
        server.expect_request("/book", method="POST").respond_with_handler(_book(posted))
        (folder / "headrace.toml").write_text(CATALOGUE.format(url=server.url_for("/")))
        with subprocess.Popen(
            [*HEADRACE, "serve"], cwd=folder, env=ENVIRONMENT, stderr=subprocess.PIPE
        ) as served:
            try:
                assert served.stderr is not None
                found = re.search(rb"listening on 127\.0\.0\.1:([0-9]+)", served.stderr.readline())
                assert found
                yield Far(int(found[1]), folder, posted)
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


def _book(posted: list[str]) -> Callable[[Request], Response]:
    def respond(request: Request) -> Response:
        posted.append(request.get_data(as_text=True))
        return Response(json.dumps({"lines": posted[-1].count("\n")}), content_type="application/json")

    return respond


def listing(far: Far, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What `headrace listing` prints."""
    assert main(["listing", *words, "--config", str(far.folder / "headrace.toml")]) == 0
    return capsys.readouterr().out


def board(row: dict[str, object]) -> dict[str, str]:
    """A row as BOARD lays it out: text left and cut, numbers right, halves away from zero."""
    length = Decimal(str(row["length"])).quantize(Decimal("0.01"), ROUND_HALF_UP)
    return {
        "WHO": f"{str(row['who']).strip()[:14]:14}",
        "COUNT": f"{row['count']:6}",
        "LENGTH": f"{length:8}",
    }


def shown(printed: Sequence[str], widths: dict[str, int]) -> tuple[list[dict[str, str]], list[str]]:
    """The records that a program printed, by field, and what else it said.

    A field stands after its name and a blank, two blanks after the one before; one too wide for that stands
    under its name in lines of 40.
    """
    records, said = list[dict[str, str]](), list[str]()
    names, lines = list(widths), iter(printed)
    values: dict[str, str] = {}
    for line in lines:
        rest = f"{line:40}"
        assert len(rest) == 40, line
        name = names[len(values)]
        if not rest.startswith(f"{name} "):
            said += [line.strip()] if line.strip() else []
            continue
        while rest.startswith(f"{name} "):
            rest, width = rest[len(name) + 1 :], widths[name]
            if not rest.strip() and width >= 40 - len(name):  # on lines of their own
                rest = "".join(f"{next(lines):40}" for _ in range(0, width, 40))
            values[name], rest = rest[:width], rest[width:]
            name = names[len(values) % len(names)]
            rest = rest.removeprefix("  ") if len(values) < len(names) else ""
        if len(values) == len(names):
            records.append(values)
            values = {}
    assert not values
    return records, said


WIDE = {"WHO": 14, "COUNT": 6, "LENGTH": 8}
SETTINGS = {
    "as it comes": (),
    "three pages, no window": ("--set", "page=3", "window=0"),
    "mark and guard, window of 2": ("--set", "mark=on", "guard=on", "window=2"),
    "sum, window of 1": ("--set", "check=sum", "window=1"),
    "crc, pages, window, mark": ("--set", "check=crc", "page=3", "window=2", "mark=on"),
}


@pytest.mark.parametrize("words", SETTINGS.values(), ids=SETTINGS)
@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_every_value_is_the_sources(
    trait: str, run: Run, words: tuple[str, ...], far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    printed = run(listing(far, capsys, "board", "--for", trait, *words), far.port, tmp_path)
    records, said = shown(printed, WIDE)
    expected = [board(row) for row in ROWS]
    if trait == "hash-channel":
        expected = [{name: value.upper() for name, value in each.items()} for each in expected]
    if "guard=on" in words:
        table = str.maketrans({",": ";", ":": ".", '"': "'"})
        expected = [{name: value.translate(table) for name, value in each.items()} for each in expected]
    assert records == expected, printed
    assert said == ["END"], printed


@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_an_error_is_shown_and_ends_it(
    trait: str, run: Run, far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The far server answers 404, which is 550 (CONTRACT section 2)."""
    printed = run(listing(far, capsys, "gone", "--for", trait), far.port, tmp_path)
    code, sentence, end = [line.strip() for line in printed if line.strip()]
    assert (code, end) == ("ERROR 550", "END")
    with socket.create_connection(("127.0.0.1", far.port), timeout=10) as client:
        client.sendall(b"ASK GONE\rBYE\r")
        status, record, _ = client.makefile("r", encoding="ascii").read().split("\n", 2)
    assert (status[:3], record.strip().upper()) == ("550", sentence.upper())


@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_no_records_are_no_error(
    trait: str, run: Run, far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    printed = run(listing(far, capsys, "empty", "--for", trait), far.port, tmp_path)
    assert [line.strip() for line in printed if line.strip()] == ["END"]


@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_args_with_blanks_and_a_field_wider_than_the_screen(
    trait: str, run: Run, far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = () if trait != "hash-channel" else ("--set", "typed=asis")
    text = listing(far, capsys, "word", "TWO WORDS", "3", "--for", trait, *typed)
    records, said = shown(run(text, far.port, tmp_path), {"WORD": 20})
    assert [each["WORD"].lower() for each in records] == [f"{'two words':20}"]
    assert said == ["END"]
    text = listing(far, capsys, "long", "--for", trait)
    records, said = shown(run(text, far.port, tmp_path), {"COUNT": 5, "NOTE": 60})
    expected = [f"{str(row['note'])[:60]:60}" for row in ROWS]
    if trait == "hash-channel":
        expected = [each.upper() for each in expected]
    assert [each["NOTE"] for each in records] == expected
    assert said == ["END"]


@pytest.mark.parametrize(("check", "window"), [("sum", "0"), ("crc", "2")])
@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_garbled_lines_are_asked_for_again(
    trait: str,
    run: Run,
    check: str,
    window: str,
    far: Far,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Status lines of SET, of the first page and of the last, three records and two requests."""
    words = ("--for", trait, "--set", f"check={check}", "page=3", f"window={window}")
    down = [b"200 00000 000 ..", b"200 00003", b"Heron", b"Pike", b"Eel", b"200 00001"]
    up = [b"ASK BOARD", b"MORE"]
    with damaging(far.port, down, up) as damage:
        printed = run(listing(far, capsys, "board", *words), damage.port, tmp_path)
    records, said = shown(printed, WIDE)
    expected = [board(row) for row in ROWS]
    if trait == "hash-channel":
        expected = [{name: value.upper() for name, value in each.items()} for each in expected]
    assert records == expected, printed
    assert said == ["END"], printed
    assert sorted(damage.struck) == sorted(down + up)


def test_without_a_check_the_same_damage_shows(
    far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """So the test above would notice a program that does not look at the check."""
    trait, run = "structured", bwbasic
    with damaging(far.port, [b"Heron"]) as damage:
        printed = run(listing(far, capsys, "board", "--for", trait), damage.port, tmp_path)
    records, _ = shown(printed, WIDE)
    assert [each["WHO"].strip() for each in records][:3] == ['Otter, the "gr', "Hernn", "Moewe"]


@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_a_source_that_changes_something_is_told_once_whatever_the_line_does(
    trait: str, run: Run, far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    far.posted.clear()
    text = listing(far, capsys, "add", "OTTER", "--for", trait, "--set", "check=crc")
    assert re.search(r"Running.*\n.*changes|changes something", text, re.IGNORECASE)
    with damaging(far.port, [b"200 00001"], [b"TELL"]) as damage:
        records, said = shown(run(text, damage.port, tmp_path), {"ADDED": 8})
    assert [each["ADDED"].strip().lower() for each in records] == ["otter"]
    assert said == ["END"]
    assert [each.lower() for each in far.posted] == ["otter"]
    assert len(damage.struck) == 2


@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_a_line_that_stays_bad_is_given_up(
    trait: str, run: Run, far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = listing(far, capsys, "board", "--for", trait, "--set", "check=sum", "window=2")
    with damaging(far.port, [b"Heron"] * 30) as damage:
        records, said = shown(run(text, damage.port, tmp_path), WIDE)
    assert len(records) == 1
    assert said == ["LINE TOO BAD", "END"]
    assert len(damage.struck) == parts.TRIES + 1


@pytest.mark.parametrize(("trait", "run"), BASICS)
def test_lines_of_text_are_sent_after_the_request(
    trait: str, run: Run, far: Far, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    far.posted.clear()
    text = listing(far, capsys, "sign", "--for", trait, "--set", "window=2")
    wanted = re.findall(r'DATA "(.+)"', text)
    assert wanted[-1] == "."
    assert len(wanted) > 2
    records, said = shown(run(text, far.port, tmp_path), {"LINES": 5})
    assert (records, said) == ([{"LINES": f"{len(wanted) - 1:5}"}], ["END"])
    assert far.posted == ["".join(f"{line}\n" for line in wanted[:-1])]
