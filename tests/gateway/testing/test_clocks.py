from datetime import UTC, datetime, timedelta, timezone

import pytest

from gateway.service.clocks import CLOCK
from gateway.testing.clocks import HandClock, clock_of

NOON = datetime(2026, 5, 17, 12, tzinfo=UTC)


def test_it_stands_still_until_it_is_moved() -> None:
    clock = HandClock(NOON)
    assert clock.frozen
    assert clock.now() == NOON
    assert clock.advance(minutes=90, seconds=1) == NOON + timedelta(seconds=5401)
    assert clock.advance(hours=-1, days=1) == clock.now() == NOON + timedelta(days=1, seconds=1801)
    assert clock.epoch() == clock.now().timestamp()
    assert HandClock(NOON).now() == NOON, "another one has not moved"


@pytest.mark.parametrize(
    "wanted",
    [
        "2026-05-17T12:00:00Z",
        "2026-05-17T14:00:00+02:00",
        "2026-05-17T12:00:00",
        NOON,
        datetime(2026, 5, 17, 12),
        datetime(2026, 5, 17, 13, tzinfo=timezone(timedelta(hours=1))),
    ],
)
def test_times_as_they_are_given(wanted: str | datetime) -> None:
    clock = clock_of(wanted)
    assert clock.now() == NOON
    assert clock.now().tzinfo is UTC


def test_the_machines_own_the_newest_recordings_and_one_given() -> None:
    given = HandClock(NOON)
    assert clock_of(None) is CLOCK
    assert clock_of("recorded", NOON).now() == NOON
    assert clock_of(given) is given


def test_what_is_no_time() -> None:
    with pytest.raises(ValueError, match=r"'noon' is no time such as 2026"):
        clock_of("noon")
    with pytest.raises(ValueError, match="wants a site"):
        clock_of("recorded")
