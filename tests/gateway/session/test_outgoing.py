"""What goes out next: line ends, and what AGAIN means (CONTRACT sections 1, 3 and 5)."""

import pytest

from adapters.errors import WrongMoment, WrongWords
from gateway.session.outgoing import Outgoing
from gateway.session.state import State
from gateway.session.windows import Window
from gateway.wire.lines import End, Line
from gateway.wire.replies import Reply
from gateway.wire.settings import Settings, change
from tests.gateway.session.conftest import Talk


@pytest.fixture
def outgoing(talk: Talk) -> Outgoing:
    return Outgoing(talk.session._state, talk.session.reader)


def settings(outgoing: Outgoing, words: str) -> None:
    state: State = outgoing._state
    state.settings = change(Settings(), [tuple(word.split("=")) for word in words.split()])  # type: ignore[misc]


def reply(outgoing: Outgoing, *records: str) -> Reply:
    return Reply(200, outgoing._state.settings, records, 1)


@pytest.mark.parametrize(
    ("eol", "ended", "mirror", "expected"),
    [
        ("crlf", End.LF, "lf", b"\r\n"),
        ("mirror", End.LF, "lf", b"\n"),
        ("mirror", End.CR, "cr", b"\r"),
        ("cr", End.NINE_B, "9b", b"\x9b"),  # a client that ends in 9Bh is answered in it until it sets eol
        ("none", End.CR, "crlf", b""),
    ],
)
def test_line_ends(outgoing: Outgoing, eol: str, ended: End, mirror: str, expected: bytes) -> None:
    settings(outgoing, f"eol={eol}")
    outgoing.choose_eol(Line(b"", ended, mirror))
    assert list(outgoing.lines(reply(outgoing))) == [b"200 00000 000 .." + expected]


def test_a_9b_client_that_has_set_eol_gets_what_it_set(outgoing: Outgoing) -> None:
    settings(outgoing, "eol=lf")
    outgoing._state.eol_typed = True
    outgoing.choose_eol(Line(b"", End.NINE_B, "9b"))
    assert list(outgoing.lines(reply(outgoing))) == [b"200 00000 000 ..\n"]


def test_a_window_keeps_back_what_was_not_asked_for(outgoing: Outgoing) -> None:
    settings(outgoing, "window=2")
    assert len(list(outgoing.lines(reply(outgoing, "a", "b", "c")))) == 2
    assert outgoing.acknowledged() is not None
    assert outgoing.acknowledged() is None
    assert outgoing.window is None


def test_what_is_whole_leaves_the_window_alone(outgoing: Outgoing) -> None:
    settings(outgoing, "window=1")
    outgoing.lines(reply(outgoing, "a"))
    waiting = outgoing.window
    assert len(list(outgoing.whole(reply(outgoing, "b")))) == 2
    assert outgoing.window is waiting


def test_goodbye_is_never_kept_back(outgoing: Outgoing) -> None:
    settings(outgoing, "window=1")
    end = Reply(421, outgoing._state.settings, ("x",), 1, close=True)
    assert len(list(outgoing.lines(end))) == 2
    assert outgoing.window is None


def test_again_of_a_window_is_the_window(outgoing: Outgoing) -> None:
    settings(outgoing, "window=2")
    outgoing.lines(reply(outgoing, "a", "b", "c"))
    again = outgoing.again(())
    assert again is outgoing.window
    rest = outgoing.again(("3",))
    assert isinstance(rest, Window)
    assert list(rest.lines()) == [b"200 00001 001 ..\r\n", b"c\r\n"]


def test_nothing_to_repeat(outgoing: Outgoing) -> None:
    with pytest.raises(WrongMoment):
        outgoing.again(())
    with pytest.raises(WrongWords):
        outgoing.again(("1", "2"))


def test_no_number_means_an_error_that_waits(outgoing: Outgoing) -> None:
    settings(outgoing, "window=1")
    outgoing.lines(Reply(550, outgoing._state.settings, ("x",), 1))
    with pytest.raises(WrongMoment):
        outgoing.again(("1",))
