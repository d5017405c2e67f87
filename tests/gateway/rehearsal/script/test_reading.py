"""Text <-> scripts; every mistake is told with its line and column."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.rehearsal.script.reading import ScriptFault, read_script
from gateway.rehearsal.script.steps import (
    Close,
    Closed,
    Dial,
    Ends,
    Finish,
    Hear,
    On,
    Placed,
    Put,
    Quiet,
    Reset,
    Say,
    Skip,
    Step,
    Take,
    Wait,
    Within,
)
from gateway.rehearsal.script.writing import shown
from tests.gateway.rehearsal.script.test_patterns import patterns

seconds = st.integers(0, 3_600_000).map(lambda number: number / 1000)
line_ends = st.sampled_from([b"\r", b"\n", b"\r\n"])
names = st.text("abcXYZ019_.-", min_size=1, max_size=10)
steps = st.one_of(
    st.builds(Say, st.binary(max_size=20)),
    st.builds(Put, st.binary(min_size=1, max_size=20)),
    st.builds(Hear, patterns),
    st.builds(Take, patterns.filter(lambda pattern: not pattern.matches(b""))),
    st.builds(Skip, st.integers(1, 99_999)),
    st.builds(Wait, seconds),
    st.builds(Quiet, seconds),
    st.builds(Within, seconds),
    st.builds(Ends, line_ends, line_ends),
    st.sampled_from([Finish(), Close(), Reset(), Closed()]),
)


@given(st.lists(steps, max_size=8), names, st.integers(1, 9))
def test_there_and_back(said: list[Step], name: str, listener: int) -> None:
    whole = [Dial(name, listener), *said, Dial(f"{name}x"), On(name)]
    text = "".join(f"{shown(step)}\n" for step in whole)
    assert read_script(text, "x").steps == tuple(Placed(line, step) for line, step in enumerate(whole, 1))


def test_comments_blank_lines_and_indents() -> None:
    script = read_script("\ufeff# one\r\n\r\n  say NOOP   \n\thear|200  |\t\n   # end", "x")
    assert [placed.line for placed in script.steps] == [3, 4]
    say, hear = (placed.step for placed in script.steps)
    assert say == Say(b"NOOP")
    assert isinstance(hear, Hear)
    assert hear.pattern.matches(b"200  ")
    assert script.lines[0] == "# one"


@pytest.mark.parametrize(
    ("text", "where", "why"),
    [
        ("tell NOOP", "1:1", "no statement"),
        ("\n  sayNOOP", "2:3", "a blank or a bar"),
        ("say|NOOP", "1:1", "no bar at the end"),
        ("say {any}", "1:5", "only bytes"),
        ("say caf\u00e9", "1:8", "only printable ASCII"),
        ("hear a{x}", "1:7", "means nothing"),
        ("hear|a\\q|", "1:7", "means nothing"),
        ("put", "1:5", "nothing to send"),
        ("take {any}", "1:6", "takes no bytes"),
        ("skip", "1:1", "number of lines"),
        ("skip 0", "1:1", "not a number of lines"),
        ("wait long", "1:1", "seconds belongs here"),
        ("wait 3601", "1:1", "at most 3600 seconds"),
        ("ends cr vt", "1:1", "ends takes cr, lf or crlf"),
        ("close now", "1:1", "nothing belongs behind"),
        ("on two", "1:1", "no line two"),
        ("on", "1:1", "on takes a line's name"),
        ("dial one\ndial one", "2:1", "opened before"),
        ("say NOOP\ndial", "2:1", "told apart"),
        ("dial o/e", "1:1", "is no name"),
        ("dial one listener x", "1:1", "listener's number"),
        ("dial one two", "1:1", "dial takes"),
    ],
)
def test_mistakes(text: str, where: str, why: str) -> None:
    with pytest.raises(ScriptFault, match=why) as caught:
        read_script(text, "x.rehearsal")
    assert str(caught.value).startswith(f"x.rehearsal:{where}: ")


def test_all_mistakes_at_once() -> None:
    with pytest.raises(ScriptFault) as caught:
        read_script("tell\nsay NOOP\nskip x\n", "x")
    assert [mistake.line for mistake in caught.value.mistakes] == [1, 3]


def test_only_line_ends_end_lines() -> None:
    """Not a form feed or the like, which is told as what it is, in the line where it is."""
    with pytest.raises(ScriptFault) as raised:
        read_script("say NOOP\r\n# a\x0cb\u2028\rsay c\x85\nsay d\x0c", "x")
    assert [(each.line, each.column) for each in raised.value.mistakes] == [(3, 6), (4, 6)]
