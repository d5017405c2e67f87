"""The plot in a terminal: its height and places, with blocks and in ASCII."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.serial.report.chart import Chart
from gateway.serial.report.terminal import drawn

RAMP = Chart(
    "title",
    "window=2",
    "bytes in the buffer",
    [(second / 10, second // 2) for second in range(201)],
    [18.0, 19.5],
    100,
    20.0,
)


def bars(lines: list[str], side: str) -> list[str]:
    return [line.partition(side)[2] for line in lines if side in line]


@pytest.mark.parametrize("blocks", [True, False])
def test_a_ramp_goes_up_from_left_to_right(blocks: bool) -> None:
    lines = drawn(RAMP, 60, blocks)
    rows = bars(lines, "│" if blocks else "|")
    assert len(rows) == 10
    heights = [sum(column < len(row) and row[column] not in " :░" for row in rows) for column in range(54)]
    assert heights == sorted(heights)
    assert heights[0] == 0 or blocks
    assert heights[-1] == 10


def test_ascii_is_ascii_and_both_fit() -> None:
    for columns in (40, 60, 80):
        for blocks in (True, False):
            lines = drawn(RAMP, columns, blocks)
            assert all(len(line) <= columns for line in lines)
            assert blocks or "".join(lines).isascii()


def test_the_heading_is_wrapped_not_cut() -> None:
    lines = drawn(RAMP, 20, False)
    assert all(len(line) <= 20 for line in lines)
    head = lines[: next(place for place, line in enumerate(lines) if "|" in line)]
    assert " ".join(head) == "bytes in the buffer against time; window=2"


def test_labels_and_losses_stand_where_they_are() -> None:
    lines = drawn(RAMP, 66, False)  # 5 for the label and the axis, 60 for 20 seconds
    margin = lines[1].index("|") + 1
    width = lines[11].count("-")
    axis, marks = lines[12], lines[13]
    assert axis.endswith(" s")
    assert axis.index("10") == margin + width // 2
    assert [place for place, mark in enumerate(marks) if mark == "x"] == [
        margin + int(18 / 20 * width),
        margin + int(19.5 / 20 * width),
    ]
    assert lines[1].startswith("100 |")
    assert "x bytes lost" in lines[-1]
    assert "room for 100" in lines[-1]


def test_one_byte_of_room_is_one_row() -> None:
    assert len(bars(drawn(replace(RAMP, points=[(0.0, 1)], capacity=1), 60, True), "│")) == 1


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 5), st.integers(0, 3000)), max_size=40).map(sorted),
    st.sampled_from([0.0, 0.001, 5.0]),
    st.integers(20, 80),
    st.booleans(),
)
def test_any_chart_can_be_drawn(
    points: list[tuple[float, int]], end: float, columns: int, blocks: bool
) -> None:
    lines = drawn(replace(RAMP, points=points, end=end, losses=[end]), columns, blocks)
    assert all(len(line) <= max(columns, 30) for line in lines)


def test_where_nothing_is_lost_nothing_is_said_of_it() -> None:
    lines, losing = (drawn(replace(RAMP, losses=each), 60, False) for each in ([], [18.0]))
    assert len(losing) == len(lines) + 1
    assert not any("lost" in line for line in lines)
