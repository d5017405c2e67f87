"""When `+++` is the client's leaving, and when it is only three pluses (CONTRACT section 3, TALK)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.wire.escape import Escape

BEFORE, AFTER = 10.0, 11.0


def told(*typed: tuple[float, bytes], until: float, plus: bytes = b"+") -> tuple[bytes, bool]:
    """What goes on, and whether the client has left; looked at in time, as a timer would."""
    escape, passed = Escape(0.0, plus), b""
    for now, data in typed:
        while (due := escape.due) is not None and due <= now and not escape.at(due):
            passed += escape.release(due)
        if escape.left:
            break
        passed += escape.feed(data, now)
    while (due := escape.due) is not None and due <= until and not escape.at(due):
        passed += escape.release(due)
    return passed, escape.left


@pytest.mark.parametrize(
    ("typed", "passed", "left"),
    [
        ([(2, b"+++")], b"", True),
        ([(2, b"+++\r")], b"", True),
        ([(2, b"+++\r\n")], b"", True),
        ([(2, b"+++\r"), (2.1, b"\n")], b"", True),
        ([(2, b"+++\n")], b"", True),
        ([(2, b"+++\x9b")], b"", True),
        ([(2, b"+"), (2.5, b"+"), (3.4, b"+")], b"", True),
        ([(1, b"a"), (2, b"+++")], b"a", True),
        ([(1, b"a"), (1.9, b"+++")], b"a+++", False),  # too soon
        ([(0.9, b"+++")], b"+++", False),  # too soon after the beginning
        ([(2, b"+++"), (2.9, b"b")], b"+++b", False),  # no silence behind it
        ([(2, b"+++\r\n\r")], b"+++\r\n\r", False),
        ([(2, b"++++")], b"++++", False),
        ([(2, b"+++ ")], b"+++ ", False),
        ([(2, b"a+++")], b"a+++", False),
        ([(2, b"++")], b"++", False),
        ([(2, b"+"), (3, b"++")], b"+++", False),  # a second between them
        ([(2, b"+"), (3, b"+++")], b"+", True),
        ([(2, b"+++"), (3, b"NOOP\r")], b"", True),
    ],
)
def test_examples(typed: list[tuple[float, bytes]], passed: bytes, left: bool) -> None:
    assert told(*typed, until=9) == (passed, left)


def test_another_charsets_plus() -> None:
    assert told((2, b"\x4e\x4e\x4e"), until=9, plus=b"\x4e") == (b"", True)
    assert told((2, b"+++"), until=9, plus=b"\x4e") == (b"+++", False)


def test_nothing_is_due_where_nothing_is_held() -> None:
    escape = Escape(0.0)
    dues = [escape.due]
    escape.feed(b"+", 5.0)
    dues.append(escape.due)
    assert escape.release(5.5) == b""
    assert escape.release(6.0) == b"+"
    assert [*dues, escape.due] == [None, 6.0, None]


def test_what_comes_behind_the_leaving_is_not_taken() -> None:
    escape = Escape(0.0)
    escape.feed(b"+++", 5.0)
    assert escape.at(6.0)
    assert escape.feed(b"NOOP\r", 6.1) == b""


typing = st.lists(
    st.tuples(st.sampled_from([0.0, 0.1, 0.5, 1.0, 1.7]), st.text("+a\r\n", max_size=4).map(str.encode))
)


@given(st.floats(0, 1e9))
def test_what_is_due_is_told_when_it_is(began: float) -> None:
    """Whatever rounding does to the sum of two times: a timer that is set by `due` is not set again."""
    escape = Escape(began - 5)
    escape.feed(b"+++", began)
    assert escape.due is not None
    assert escape.at(escape.due)
    escape = Escape(began - 5)
    escape.feed(b"++", began)
    assert escape.due is not None
    assert escape.release(escape.due) == b"++"


@given(typing)
def test_nothing_else_is_lost_and_pieces_do_not_matter(typed: list[tuple[float, bytes]]) -> None:
    """What was typed goes on byte for byte, but for the leaving; cut in single bytes it is the same."""
    now, whole, single = 0.0, list[tuple[float, bytes]](), list[tuple[float, bytes]]()
    for pause, data in typed:
        now += pause
        whole.append((now, data))
        single += [(now, data[place : place + 1]) for place in range(len(data))]
    passed, left = told(*whole, until=now + 9)
    assert told(*single, until=now + 9) == (passed, left)
    everything = b"".join(data for _, data in typed)
    assert everything.startswith(passed)
    if left:
        assert everything[len(passed) :].startswith(b"+++")
    else:
        assert passed == everything
