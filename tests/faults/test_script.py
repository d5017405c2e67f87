"""Faults as data: where they strike, and that chunking never matters."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.faults.script import (
    After,
    At,
    Channel,
    Cut,
    Drip,
    Fault,
    Garble,
    Hang,
    Lane,
    Misdirect,
    Plan,
    Refuse,
    Replace,
    Send,
    Stall,
    Way,
)


def run(faults: list[Fault], *chunks: bytes) -> tuple[bytes, str]:
    """What is passed on in the way up, and the name of what ended it."""
    lane = Lane(Plan(faults), Way.UP, Channel.CONTROL)
    steps = [step for chunk in chunks for step in lane.feed(chunk)] + lane.end()
    passed = b"".join(step.data for step in steps if isinstance(step, Send))
    ends = [type(step).__name__ for step in steps if not isinstance(step, Send)]
    assert len(ends) <= 1
    return passed, ends[0] if ends else ""


STOR = At(b"STOR ")
TRAFFIC = b"USER me\r\nSTOR a\r\nSTOR b\r\nQUIT\r\n"


@pytest.mark.parametrize(
    ("fault", "passed", "end"),
    [
        (Cut(STOR), b"USER me\r\n", "Cut"),
        (Cut(STOR, passed=True), b"USER me\r\nSTOR ", "Cut"),
        (Cut(At(b"STOR ", nth=2)), b"USER me\r\nSTOR a\r\n", "Cut"),
        (Cut(At(b"STOR ", nth=3)), TRAFFIC, ""),
        (Cut(At(b"")), b"", "Cut"),
        (Cut(After(0, Way.UP, Channel.CONTROL)), b"", "Cut"),
        (Cut(After(7, Way.UP, Channel.CONTROL)), b"USER me", "Cut"),
        (Cut(After(len(TRAFFIC), Way.UP, Channel.CONTROL)), TRAFFIC, "Cut"),
        (Cut(After(len(TRAFFIC) + 1, Way.UP, Channel.CONTROL)), TRAFFIC, ""),
        (Cut(After(7, Way.DOWN, Channel.CONTROL)), TRAFFIC, ""),
        (Cut(At(b"STOR ", channel=Channel.DATA)), TRAFFIC, ""),
        (Stall(STOR), b"USER me\r\n", "Hang"),
        (Stall(STOR, passed=True), b"USER me\r\nSTOR ", "Hang"),
        (Garble(At(b"USER me\r\n"), b"\0\1"), b"USER me\r\n\0\1", "Hang"),
        (Replace(STOR, b"RETR "), TRAFFIC.replace(b"STOR ", b"RETR ", 1), ""),
        (Replace(At(b"STOR ", nth=2), b""), b"USER me\r\nSTOR a\r\nb\r\nQUIT\r\n", ""),
    ],
)
def test_a_fault_strikes_where_it_is_told_to(fault: Fault, passed: bytes, end: str) -> None:
    assert run([fault], TRAFFIC) == (passed, end)
    assert run([fault], *(TRAFFIC[start : start + 1] for start in range(len(TRAFFIC)))) == (passed, end)


def test_counts_are_of_all_connections_of_a_plan() -> None:
    plan = Plan([Cut(At(b"STOR ", nth=2)), Cut(After(5, Way.DOWN))])
    first, second = Lane(plan, Way.UP, Channel.CONTROL), Lane(plan, Way.UP, Channel.CONTROL)
    assert first.feed(b"STOR a") == [Send(b"STOR "), Send(b"a")]
    assert second.feed(b"STOR b") == [plan.faults[0]]
    assert Lane(plan, Way.DOWN, Channel.DATA).feed(b"123") == [Send(b"123")]
    assert Lane(plan, Way.DOWN, Channel.DATA).feed(b"456") == [Send(b"45"), plan.faults[1]]
    assert plan.struck == list(plan.faults)
    assert Lane(plan, Way.UP, Channel.CONTROL).feed(b"STOR c") == [Send(b"STOR c")]  # each strikes once


def test_what_may_begin_a_pattern_waits_and_is_not_lost() -> None:
    lane = Lane(Plan([Cut(STOR)]), Way.UP, Channel.CONTROL)
    assert lane.feed(b"LIST\r\nST") == [Send(b"LIST\r\n")]
    assert lane.feed(b"AT\r\nSTO") == [Send(b"STAT\r\n")]
    assert lane.end() == [Send(b"STO")]


def test_an_ended_lane_gives_nothing_more() -> None:
    lane = Lane(Plan([Stall(At(b"x"))]), Way.UP, Channel.CONTROL)
    assert [type(step) for step in lane.feed(b"axb")] == [Send, Hang]
    assert lane.feed(b"more") == []
    assert lane.end() == []


def test_faults_without_a_place() -> None:
    plan = Plan([Refuse(Channel.DATA), Misdirect("192.0.2.1"), Drip(10.0)])
    assert (plan.refuses(Channel.DATA), plan.refuses(Channel.CONTROL)) == (True, False)
    assert plan.host == "192.0.2.1"
    assert plan.rate(Way.DOWN, Channel.CONTROL) == 10
    assert plan.rate(Way.UP, Channel.CONTROL) is None


places = st.one_of(
    st.builds(
        At, st.text("abc", min_size=1, max_size=3).map(str.encode), nth=st.integers(min_value=1, max_value=3)
    ),
    st.builds(After, st.integers(0, 20), st.just(Way.UP), st.just(Channel.CONTROL)),
)
faults = st.one_of(
    st.builds(Cut, places, st.booleans()),
    st.builds(Stall, places, st.booleans()),
    st.builds(Garble, places, st.just(b"?")),
)


@given(st.lists(faults, max_size=3), st.text("abc", max_size=20).map(str.encode), st.data())
def test_chunking_never_matters(chosen: list[Fault], traffic: bytes, data: st.DataObject) -> None:
    cuts = sorted(data.draw(st.lists(st.integers(0, len(traffic)), max_size=5)))
    pieces = [traffic[start:end] for start, end in zip([0, *cuts], [*cuts, len(traffic)], strict=True)]
    chunks = [piece for piece in pieces if piece]
    assert run(chosen, *chunks) == run(chosen, traffic) == run(chosen, *(bytes((each,)) for each in traffic))
