"""The schedule against its own promises (CONTRACT section 5, pace and gap), by exact arithmetic.

A character a byte: 8N1 takes ten bits for each, so that 9,600 bits a second are 960 characters a second
(common practice).
"""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.wire.pacing import EVERYTHING, Schedule

Sent = list[tuple[float, int]]
"""When, and how many bytes together."""

PACES = st.integers(1, 20_000)
LINES = st.lists(st.integers(1, 80), min_size=1, max_size=30)


def run(schedule: Schedule, lines: list[int], looks: list[float], grain: float) -> list[Sent]:
    """What leaves of each line: at each of `looks`, then whenever something is due."""
    found: list[Sent] = [[] for _ in lines]
    left, index, coming = list(lines), 0, iter(looks)
    now = 0.0
    while index < len(lines):
        now = max(now, next(coming, schedule.next_at))
        while index < len(lines):
            count = min(schedule.due(now, grain), left[index])
            if not count:
                break
            left[index] -= count
            schedule.sent(count, now, not left[index])
            found[index].append((now, count))
            index += not left[index]
    return found


def looks_every(tick: float, jitter: list[float], seconds: float) -> list[float]:
    """Looks every `tick` seconds, each as late as `jitter` says, in turn."""
    count = int(seconds / tick) + 2
    return [tick * number + (jitter[number % len(jitter)] if jitter else 0.0) for number in range(count)]


def test_bytes_leave_one_by_one_when_each_is_looked_for() -> None:
    (found,) = run(Schedule(960, 0, 0.0), [96], [], 0.0)
    assert [count for _, count in found] == [1] * 96
    assert found[-1][0] == pytest.approx(95 / 960)


def test_a_line_that_is_not_paced_leaves_whole() -> None:
    schedule = Schedule(0, 0, 5.0)
    assert schedule.due(4.9) == 0
    assert schedule.due(5.0) == EVERYTHING
    schedule.sent(300, 5.0, ends=True)
    assert schedule.due(5.0) == EVERYTHING


@given(PACES, LINES, st.floats(0.001, 0.1), st.lists(st.floats(0, 0.05), max_size=5))
def test_nothing_leaves_early_and_nothing_later_than_the_looks(
    pace: int, lines: list[int], tick: float, jitter: list[float]
) -> None:
    """Byte n not before n character times; where looks come as they should, a look later at most."""
    looks = looks_every(tick, jitter, sum(lines) / pace + 2)
    found = [each for line in run(Schedule(pace, 0, 0.0), lines, looks, tick * 3 + 0.1) for each in line]
    before = 0
    for now, count in found:
        last = before + count - 1
        assert Fraction(now) >= Fraction(last, pace) - Fraction(1, 10**9)
        worst = tick + (max(jitter) if jitter else 0)
        assert now <= before / pace + worst + 1e-9
        before += count
    assert before == sum(lines)


@settings(max_examples=40, deadline=None)
@given(PACES, st.floats(0.005, 0.05), st.lists(st.floats(0, 0.04), min_size=1, max_size=7))
def test_the_rate_is_exact_over_a_minute_however_late_the_looks(
    pace: int, tick: float, jitter: list[float]
) -> None:
    """What one look came too late for is made up for, and nothing adds up."""
    total, before, schedule = pace * 60, 0, Schedule(pace, 0, 0.0)
    for now in looks_every(tick, jitter, 61):
        count = min(schedule.due(now, tick + max(jitter)), total - before)
        if count:
            schedule.sent(count, now)
            before += count
        if before == total:
            break
    assert before == total
    assert now == pytest.approx((total - 1) / pace, abs=0.1)


@given(PACES, LINES, st.lists(st.floats(0, 3), min_size=1, max_size=10), st.floats(0.001, 0.05))
def test_who_was_late_never_sends_in_a_burst(
    pace: int, lines: list[int], pauses: list[float], grain: float
) -> None:
    """Never more together than the grain holds, nor closer than an eighth less than a character apart."""
    looks, now = [], 0.0
    for pause in pauses * 3:
        looks.append(now := now + pause)
        looks.extend(now := now + grain for _ in range(5))
    found = [each for line in run(Schedule(pace, 0, 0.0), lines, looks, grain) for each in line]
    closest = 7 / 8 / pace
    together: dict[float, int] = {}
    for at, count in found:
        together[at] = together.get(at, 0) + count
    assert all(count <= 1 + grain / closest + 1e-6 for count in together.values())
    times = sorted(together)
    for start in range(len(times)):
        for end in range(start, min(start + 8, len(times))):
            count = sum(together[at] for at in times[start : end + 1])
            assert count <= 1 + (times[end] - times[start] + grain) / closest + 1e-6


@given(PACES, st.floats(0.001, 100), st.floats(0.001, 0.05))
def test_an_idle_time_is_not_made_up_for(pace: int, idle: float, grain: float) -> None:
    schedule = Schedule(pace, 0, 0.0)
    assert schedule.due(0.0) == 1
    schedule.sent(1, 0.0)
    now = 1 / pace + idle
    schedule.resume(now)
    assert schedule.due(now, grain) == 1
    schedule.sent(1, now)
    assert schedule.next_at == pytest.approx(now + 1 / pace)


def test_a_new_reply_begins_no_sooner_than_the_last_one_lets_it() -> None:
    schedule = Schedule(10, 0, 0.0)
    schedule.sent(1, 0.0)
    schedule.resume(0.0)
    assert schedule.next_at == pytest.approx(0.1)


def test_a_gap_before_a_new_reply_is_not_made_up_for() -> None:
    schedule = Schedule(10, 200, 0.0)
    schedule.sent(1, 5.0, ends=True)
    schedule.resume(5.0)
    begins = schedule.next_at
    assert begins == pytest.approx(5.3)
    assert schedule.due(begins) == 1
    schedule.sent(1, begins)
    assert schedule.next_at == pytest.approx(5.4)


def test_who_looks_without_a_grain_gets_one_byte_a_look() -> None:
    assert Schedule(1_000, 0, 0.0).due(0.5) == 1
    assert Schedule(1_000, 0, 0.0).due(0.5, 0.01) == 1 + int(0.01 * 1_000 / (7 / 8))


def test_what_was_late_by_more_than_a_second_is_lost() -> None:
    schedule, now, count = Schedule(1_000, 0, 0.0), 10.0, 0
    while now < 70:
        due = schedule.due(now, 0.001)
        if due:
            schedule.sent(due, now)
            count += due
        now += 0.001
    assert count == pytest.approx(60_000 + 1_000, abs=5)


@given(st.integers(0, 20_000), st.integers(1, 10_000), LINES, st.floats(0.001, 0.1), st.floats(0, 0.1))
def test_a_gap_is_never_shortened(pace: int, gap: int, lines: list[int], tick: float, grain: float) -> None:
    """From when the last byte has been sent, which takes a character's time, until the next line begins."""
    found = run(Schedule(pace, gap, 0.0), lines[:6], looks_every(tick, [], 200), grain)
    character = 1 / pace if pace else 0.0
    for before, after in pairwise(found):
        assert after[0][0] - before[-1][0] >= character + gap / 1000 - 1e-9
        assert after[0][0] - before[-1][0] <= character + gap / 1000 + tick + 1e-9


def test_a_gap_holds_over_the_end_of_a_reply() -> None:
    schedule = Schedule(0, 100, 0.0)
    schedule.sent(18, 0.0, ends=True)
    schedule.resume(0.01)
    assert schedule.due(0.09) == 0
    assert schedule.next_at == pytest.approx(0.1)


def test_paced_lines_with_gaps_take_what_arithmetic_says() -> None:
    """300 bits a second, 8N1, is 30 characters a second: a line of 42 takes 1.4 s, and its gap 0.5 s."""
    found = run(Schedule(30, 500, 0.0), [42] * 32, looks_every(0.001, [], 70), 0.002)
    assert found[-1][-1][0] == pytest.approx(31 * 1.9 + 41 / 30, abs=0.1)
