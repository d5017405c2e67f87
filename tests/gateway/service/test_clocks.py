"""Clocks that run and clocks that stand."""

from datetime import UTC, datetime, timedelta

from gateway.service.clocks import CLOCK, Clock

MOMENT = datetime(2026, 5, 17, 12, 0, tzinfo=UTC)


def test_runs_as_this_machine_does() -> None:
    before = datetime.now(UTC)
    assert before - timedelta(seconds=1) <= CLOCK.now() <= datetime.now(UTC) + timedelta(seconds=1)
    assert CLOCK.now().tzinfo is UTC
    assert not CLOCK.frozen


def test_stands_still() -> None:
    clock = Clock(MOMENT)
    assert clock.frozen
    assert clock.now() == clock.now() == MOMENT
    assert clock.epoch() == 1_779_019_200.0  # GNU date -d 2026-05-17T12:00:00Z +%s
