"""Generated BASIC programs as texts: what has to hold for any source and any settings.

What they do is proven by running them: tests/clients/listings/test_basic.py.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import NotPossible
from gateway.extract.plan import Kind
from gateway.listings.basic import parts
from gateway.listings.basic.bput_channel import BputChannel
from gateway.listings.basic.com_channel import ComChannel
from gateway.listings.basic.hash_channel import HashChannel
from gateway.listings.basic.structured import Structured
from gateway.listings.program import Buffered, Column, Task, Writer
from gateway.wire.settings import Settings, change
from gateway.wire.words import split_words

NUMBERED: list[Writer] = [ComChannel(), HashChannel(), BputChannel()]
ALL: list[Writer] = [*NUMBERED, Structured()]
SCREEN = 40  # the issue's: columns of a program's lines and of what it prints

printable = st.characters(min_codepoint=32, max_codepoint=126)
names = st.text(printable, min_size=1, max_size=12).filter(lambda text: text.strip() != "")


@st.composite
def settings(draw: st.DrawFn) -> Settings:
    made = Settings(
        eol=draw(st.sampled_from(["cr", "crlf", "mirror", "lf", "9b"])),
        cols=draw(st.integers(16, 120)),
        mark=draw(st.booleans()),
        window=draw(st.sampled_from([0, 1, 2, 3, 40, 99_999])),
        page=draw(st.sampled_from([0, 1, 99_999])),
        check=draw(st.sampled_from(["none", "sum", "crc"])),
    )
    return replace(made, guard=made.mark)


@st.composite
def tasks(draw: st.DrawFn) -> Task:
    chosen = draw(settings())
    columns, start = [], 1 + chosen.mark
    for name in draw(st.lists(names, min_size=1, max_size=8)):
        width = draw(st.integers(1, 90))
        if start + width > 245:
            break
        columns.append(Column(name, start, width, draw(st.sampled_from(Kind))))
        start += width + draw(st.integers(0, 2))
    args = draw(st.lists(st.tuples(names, st.text(max_size=40)), max_size=12))
    while sum(len(parts.word(value)) + 1 for _, value in args) > 200:
        args.pop()
    return Task(
        source=draw(st.from_regex(r"[A-Z0-9-]{1,12}", fullmatch=True)),
        about=draw(st.text(max_size=60)),
        args=tuple(args),
        columns=tuple(columns),
        width=columns[-1].start + columns[-1].width - 1 + chosen.added - chosen.mark,
        setup=draw(
            st.sampled_from(["", "SET plain", f"SET plain eol={chosen.eol} window=99999 check=crc mark=on"])
        ),
        settings=chosen,
        changes=draw(st.booleans()),
        lines=chosen.check == "none" and draw(st.booleans()),
    )


def written(writer: Writer, task: Task) -> str:
    """The program, with a line end that the trait can read."""
    if writer.name in {"com-channel", "structured"} and task.settings.eol in {"lf", "9b", "cr"}:
        eol = "lf" if writer.name == "structured" else "cr"
        task = replace(task, settings=replace(task.settings, eol=eol))
    return writer.write(task)


def code(text: str) -> Iterator[tuple[str, str]]:
    """Line number (or nothing) and statements of each line; remarks left out."""
    for line in text.splitlines():
        number, _, rest = line.partition(" ")
        found = (number, rest) if number.isdigit() else ("", line.strip())
        if not found[1].startswith("REM "):
            yield found


def bare(statements: str) -> str:
    """Statements without what stands in quotes, and without a remark at the end."""
    return re.sub(r": REM .*", "", re.sub(r'"[^"]*"', '""', statements))


_PRINT = re.compile(
    r'PRINT (?:"(?P<name>[^"]*)")?[;+]?(?:MID\$\(R\$,(?P<start>\d+),(?P<width>\d+)\))?(?P<on>;?)'
)


def showing(text: str) -> list[str]:
    """The statements that show a record."""
    lines = [re.sub(r"^\d+ ", "", line) for line in text.splitlines()]
    start = next(place for place, line in enumerate(lines) if line.upper() == "REM SHOWS RECORD R$")
    return lines[start + 1 : lines.index("RETURN", start)]


@pytest.mark.parametrize("writer", ALL, ids=lambda each: each.name)
@given(tasks())
def test_lines_fit_and_are_ascii(writer: Writer, task: Task) -> None:
    text = written(writer, task)
    assert text.endswith("\n")
    for line in text.splitlines():
        assert len(line) <= SCREEN
        assert all(" " <= each <= "~" for each in line)
    for _, statements in code(text):
        assert bare(statements).replace('""', "").count('"') == 0, statements
        assert "%" not in bare(statements), "an integer variable holds 32767 at most (from memory)"
        assert "\\" not in "".join(re.findall(r'"[^"]*"', statements))
    if writer.name == "hash-channel":
        assert text == text.upper()
    assert writer.write(task) == writer.write(task) if task.settings.eol == "mirror" else True


@pytest.mark.parametrize("writer", NUMBERED, ids=lambda each: each.name)
@given(tasks())
def test_numbers_ascend_and_every_jump_lands(writer: Writer, task: Task) -> None:
    text = written(writer, task)
    numbers = [int(line.split(" ", 1)[0]) for line in text.splitlines()]
    assert numbers == sorted(set(numbers))
    jumps = [
        int(number)
        for _, statements in code(text)
        for number in re.findall(r"(?:THEN|GOTO|GOSUB) (\d+)", bare(statements))
    ]
    assert jumps
    assert set(jumps) <= set(numbers)


@given(tasks())
def test_blocks_close_and_routines_are_there(task: Task) -> None:
    text = written(Structured(), task)
    heads = [bare(statements).strip() for _, statements in code(text)]
    depth: list[str] = []
    for head in heads:
        if head.startswith(("WHILE", "IF")):
            depth.append(head.split()[0])
        elif head in {"WEND", "END IF"}:
            assert depth.pop() == {"WEND": "WHILE", "END IF": "IF"}[head]
    assert not depth
    routines = {line.split()[0] for line in text.splitlines() if line[:1].isdigit()}
    jumps = {number for head in heads for number in re.findall(r"(?:GOTO|GOSUB) (\d+)", head)}
    assert jumps <= routines


@pytest.mark.parametrize("writer", ALL, ids=lambda each: each.name)
@given(tasks())
def test_fields_stand_under_their_names_by_their_columns(writer: Writer, task: Task) -> None:
    """Read back from the text, without the code that wrote it."""
    statements = showing(written(writer, task))
    line, found = "", list[tuple[str, int, int]]()
    name = ""
    for statement in statements:
        match = re.fullmatch(
            r'PRINT (?:"(?P<name>[^"]*)")?[;+]?(?:MID\$\(R\$,(?P<start>\d+),(?P<width>\d+)\))?(?P<on>;?)',
            statement,
        )
        assert match, statement
        line += match["name"] or ""
        name = (match["name"] or name).strip() if match["name"] else name
        if match["width"]:
            line += "x" * int(match["width"])
            found.append((name, int(match["start"]), int(match["width"])))
        if not match["on"]:
            assert len(line) <= SCREEN
            line = ""
    assert not line
    for column in task.columns:
        shown = column.name.replace('"', "'").replace("\\", "/").strip()
        shown = shown.upper() if writer.name == "hash-channel" else shown
        start = column.start
        while start < column.start + column.width:  # a wide one comes in pieces
            piece = found.pop(0)
            assert piece[:2] == (shown, start)
            start += piece[2]
        assert start == column.start + column.width
    assert not found


@given(st.text(max_size=300))
def test_an_example_is_one_word_of_the_request(value: str) -> None:
    """CONTRACT section 1: quotes and %hh; a % stays what the author typed."""
    (found,) = split_words(parts.word(value))
    assert unquote(found) == unquote(value)


@given(st.text(printable, max_size=300).map(lambda text: text.replace('"', "")), st.integers(20, 36))
def test_a_long_string_is_put_together(text: str, room: int) -> None:
    lines = parts.strings("Q$", text, room)
    assert max(map(len, lines)) <= room
    assert "".join(line[:-1].split('"', 1)[1] for line in lines) == text


@pytest.mark.parametrize(("count", "request_text"), [(0, ""), (1, "+"), (9, "+"), (30, "+")])
def test_the_request_has_all_args_in_order(count: int, request_text: str) -> None:
    task = replace(TASK, args=tuple((f"n{number}", "V") for number in range(count)))
    lines = parts.request(task, 35)
    assert max(map(len, lines)) <= 35
    text = ""
    for line in lines:  # as a BASIC would
        left, _, right = line.partition("=")
        assert left == "Q$"
        pieces = re.findall(r'"([^"]*)"|([A-Z]\d\$|Q\$)', right)
        text = "".join(
            quoted or (text if variable == "Q$" else f"<{variable}>") for quoted, variable in pieces
        )
    given_names = re.findall(r"([A-Z]\d\$)=", "\n".join(parts.args(task, 35)))
    assert text == " ".join(["ASK TIDES", *(f"<{each}>" for each in given_names)])
    assert len(given_names) == count


TASK = Task("TIDES", "", (), (Column("TIME", 1, 5, Kind.TIME),), 5, "", Settings(eol="cr"))


@pytest.mark.parametrize("writer", ALL, ids=lambda each: each.name)
def test_what_it_cannot_follow_is_refused(writer: Writer) -> None:
    own = change(Settings(), [("eol", "lf" if writer.name == "structured" else "cr")])
    writer.write(replace(TASK, settings=own))
    for wrong in (
        replace(own, eol="none"),
        replace(own, echo=True),
        replace(own, charset="caseswap", check="sum"),
    ):
        with pytest.raises(NotPossible):
            writer.write(replace(TASK, settings=wrong))
    with pytest.raises(NotPossible, match="Lines of text and a check"):
        writer.write(replace(TASK, settings=replace(own, check="sum"), lines=True))
    with pytest.raises(NotPossible):
        writer.write(replace(TASK, settings=own, args=(("long", "x" * 240),)))
    if writer.name == "com-channel":
        with pytest.raises(NotPossible):
            writer.write(replace(TASK, settings=own, width=255))


@pytest.mark.parametrize("writer", ALL, ids=lambda each: each.name)
def test_a_task_that_changes_something_says_so(writer: Writer) -> None:
    task = replace(TASK, changes=True, settings=replace(TASK.settings, eol="mirror"))
    assert "CHANGES" in writer.write(task)
    assert "TELL TIDES" in writer.write(task)
    assert "CHANGES" not in writer.write(replace(task, changes=False))


def test_hash_channel_says_what_its_control_byte_is() -> None:
    """From memory, as the remark says itself."""
    text = HashChannel().write(TASK)
    assert "CHR$(8)+CHR$(0)" in text
    remarks = " ".join(re.findall(r"^\d+ REM (.*)", text, re.MULTILINE))
    assert "CHR$(8) IS 1200 BITS A SECOND ON SUCH MACHINES (FROM MEMORY); OTHERS DIFFER" in remarks
    assert "1200" not in ComChannel().write(TASK)


@pytest.mark.parametrize("writer", NUMBERED, ids=lambda each: each.name)
def test_it_is_as_short_as_it_can_be(writer: Writer) -> None:
    """Two screens of 25 lines, with a window and four fields."""
    columns = tuple(
        Column(name, start, 4, Kind.TEXT) for name, start in (("A", 1), ("B", 6), ("C", 11), ("D", 16))
    )
    settings = replace(TASK.settings, window=3)
    text = writer.write(replace(TASK, columns=columns, width=19, setup="SET x", settings=settings))
    assert len(text.splitlines()) <= 50
    assert isinstance(writer, Buffered)


@pytest.mark.parametrize("check", ["none", "sum", "crc"])
@pytest.mark.parametrize("writer", ALL, ids=lambda each: each.name)
def test_line_numbers_of_four_digits_leave_room(writer: Writer, check: str) -> None:
    columns = tuple(Column("TWELVE-WIDE-", place + 1, 1, Kind.TEXT) for place in range(200))
    args = tuple((f"argument-{number}", "A VALUE OF SOME LENGTH, WITH BLANKS") for number in range(6))
    settings = Settings(
        eol="lf" if writer.name == "structured" else "cr", window=99_999, check=check, cols=80
    )
    task = Task("TIDES", "", args, columns, 204, "SET plain", settings, changes=True)
    text = writer.write(task)
    assert max(map(len, text.splitlines())) <= SCREEN
    if writer.name != "structured":
        assert int(text.splitlines()[-1].split()[0]) > 1_000
