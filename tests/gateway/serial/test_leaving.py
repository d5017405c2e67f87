"""The exact schedule against the one that the service goes by, gateway.wire.pacing.Schedule."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.serial.leaving import Leaving
from gateway.wire.pacing import CLOSER, Schedule
from gateway.wire.settings import Settings

SCALE = 16_000 * 9_240  # ticks a second: whole for every pace below


PACES = st.sampled_from([0, 1, 7, 10, 30, 110, 120, 240, 480, 960, 1_320])
LINES = st.lists(st.integers(1, 90), min_size=1, max_size=8)


def exact_times(pace: int, gap: int, lines: list[int], grain: int = 0) -> list[Fraction]:
    scale = SCALE * (pace or 1)
    leaving = Leaving(Settings(pace=pace, gap=gap), scale, grain * scale // 1000)
    times = []
    for length in lines:
        for _ in range(length):
            at = leaving.when(0)
            leaving.left(at, 0)
            times.append(Fraction(at, scale))
        leaving.end_line()
    return times


@settings(deadline=None)
@given(pace=PACES, gap=st.sampled_from([0, 1, 50, 333]), lines=LINES)
def test_looked_at_all_the_time_it_is_the_services_schedule(pace: int, gap: int, lines: list[int]) -> None:
    schedule, now, times = Schedule(pace, gap, 0.0), 0.0, []
    for length in lines:
        left = length
        while left:
            now = max(now, schedule.next_at)
            count = min(left, schedule.due(now))
            left -= count
            schedule.sent(count, now, ends=left == 0)
            times += [now] * count
    ours = [float(each) for each in exact_times(pace, gap, lines)]
    assert len(ours) == len(times)
    assert all(abs(one - other) <= 1e-6 * (1 + other) for one, other in zip(ours, times, strict=True))


@settings(deadline=None)
@given(pace=PACES, gap=st.sampled_from([0, 50, 333]), lines=LINES, grain=st.sampled_from([1, 10, 50]))
def test_looked_at_now_and_then_it_keeps_the_services_pace(
    pace: int, gap: int, lines: list[int], grain: int
) -> None:
    """The service's loop at whole multiples of the grain; both within one look of each other, byte for byte.

    A gap is counted from when a line really left: there a look that rounding decides moves all that follows,
    so that each gap may add one.
    """
    schedule, times, look = Schedule(pace, gap, 0.0), [], 0
    for length in lines:
        left = length
        while left:
            now = look * grain / 1000
            count = min(left, schedule.due(now + 1e-9, grain / 1000))
            if count:
                left -= count
                schedule.sent(count, now, ends=left == 0)
                times += [now] * count
            if not count:
                look += 1
    ours = exact_times(pace, gap, lines, grain)
    lookings = [float(each) for each in ours]
    assert all(each * 1000 % grain == 0 for each in ours)
    allowed = grain / 1000 * (len(lines) if gap else 1) + 1e-6
    assert max(abs(one - other) for one, other in zip(lookings, times, strict=True)) <= allowed


@settings(deadline=None)
@given(pace=PACES.filter(bool), lines=LINES)
def test_a_second_holds_as_many_bytes_as_the_pace(pace: int, lines: list[int]) -> None:
    times = exact_times(pace, 0, lines)
    assert times == [Fraction(number, pace) for number in range(sum(lines))]


@settings(deadline=None)
@given(pace=PACES, gap=st.sampled_from([0, 50, 333]), lines=LINES, grain=st.sampled_from([0, 1, 10, 50]))
def test_no_gap_is_shortened_and_nothing_is_sent_in_a_burst(
    pace: int, gap: int, lines: list[int], grain: int
) -> None:
    """What was late is made up for by an eighth, beside what one look finds."""
    times = exact_times(pace, gap, lines, grain)
    character = Fraction(1, pace) if pace else Fraction(0)
    start = 0
    for length in lines[:-1]:
        start += length
        if gap:
            assert times[start] >= times[start - 1] + character + Fraction(gap, 1000)
    for first in range(0, len(times), 29):
        for number, at in enumerate(times[first:]):
            assert at - times[first] >= number * character * CLOSER - Fraction(grain, 1000)


def test_it_is_made_up_for_as_the_service_does() -> None:
    """One character a second: the first left half a second late, and the next is as close as any may be."""
    schedule = Schedule(1, 0, 0.0)
    schedule.sent(schedule.due(0.5), 0.5)
    assert schedule.next_at - 0.5 == float(CLOSER)


def test_who_was_held_is_owed_nothing() -> None:
    leaving = Leaving(Settings(pace=10), 1_600, 0)
    at = leaving.when(80_000)
    leaving.left(at, 80_000)
    assert (at, leaving.when(0)) == (80_000, 80_160)
