"""What a chart shows of a run."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.serial.framing import Framing, cycles
from gateway.serial.machine import Machine, Receiver
from gateway.serial.report.chart import Chart, bins, chart_of, held_back, round_steps, thinned
from gateway.serial.simulation import simulate
from gateway.serial.way import Way
from gateway.wire.settings import Settings

POINTS = st.lists(st.tuples(st.floats(0, 100), st.integers(0, 128)), max_size=200).map(sorted)


def chart(points: list[tuple[float, int]], end: float = 100.0, capacity: int = 128) -> Chart:
    return Chart("title", "subtitle", "bytes in the buffer", points, [], capacity, end)


def test_it_says_what_the_run_says() -> None:
    machine = Machine(Receiver.INTERRUPT, byte_seconds=cycles(2_000), buffer_bytes=16)
    way = Way(Framing(9_600), machine, Settings(eol="cr", window=2))
    run = simulate(way, [b"x" * 29 + b"\r"] * 3, trace=True)
    made = chart_of(way, run)
    assert run.losses
    assert [each for _, each in made.points] == [size for _, size in run.filling]
    assert made.losses == [float(each.seconds) for each in run.losses]
    assert (made.capacity, made.top, made.where) == (16, 16, "bytes in the buffer")
    assert made.title == f"9,600 bits a second 8N1: {len(run.losses)} of 90 bytes lost"
    assert made.subtitle == "window=2"


def test_settings_that_hold_back_are_named_as_set_takes_them() -> None:
    way = Way(Framing(300))
    assert held_back(way) == "as fast as the link"
    way = Way(Framing(300), settings=Settings(pace=30, gap=50, window=4, flow="xon"))
    assert held_back(way) == "pace=30 gap=50 window=4 flow=xon"


def test_room_far_beyond_what_waited_is_not_drawn_to_scale() -> None:
    assert chart([(1.0, 3)], capacity=1_000).top == 3
    assert chart([(1.0, 3)], capacity=12).top == 12
    assert chart([], capacity=1_000).top == 1


def test_round_steps() -> None:
    assert round_steps(1.0, 5) == [0.0, 0.2, 0.4, 0.6000000000000001, 0.8, 1.0]
    assert round_steps(128, 6) == [0, 50, 100]
    assert round_steps(7, 10) == [0, 1, 2, 3, 4, 5, 6, 7]
    assert round_steps(0, 6) == [0.0]


@given(st.floats(0.001, 1e6), st.integers(2, 10))
def test_steps_reach_nearly_to_the_end_and_are_few(most: float, count: int) -> None:
    steps = round_steps(most, count)
    assert len(steps) <= count + 1
    assert steps[-1] <= most * (1 + 1e-6)
    assert most - steps[-1] < steps[1] * (1 + 1e-6) if len(steps) > 1 else True


@settings(deadline=None)
@given(POINTS, st.integers(1, 80))
def test_bins_hold_the_average_and_the_most(points: list[tuple[float, int]], count: int) -> None:
    """The area under the whole is the sum over the bins, exactly but for rounding."""
    parts = list(bins(chart(points), count))
    ends = [*(at for at, _ in points), 100.0]
    area = sum(
        Fraction(size) * (Fraction(after) - Fraction(at))
        for (at, size), after in zip(points, ends[1:], strict=True)
    )
    assert abs(sum(mean for mean, _ in parts) * 100 / count - float(area)) < 1e-6 * (1 + float(area))
    assert max(most for _, most in parts) == max((size for _, size in points), default=0)
    assert all(0 <= mean <= most + 1e-6 for mean, most in parts)


@settings(deadline=None)
@given(POINTS, st.integers(1, 10))
def test_thinning_keeps_points_of_the_run_and_its_extremes(
    points: list[tuple[float, int]], parts: int
) -> None:
    kept = thinned(points, 100.0, parts)
    remaining = iter(points)
    assert all(each in remaining for each in kept)
    assert len(kept) <= 4 * parts
    if points:
        assert max(size for _, size in kept) == max(size for _, size in points)
        assert min(size for _, size in kept) == min(size for _, size in points)
        assert (kept[0], kept[-1]) == (points[0], points[-1])
