"""Guessing is slowed down (OWASP Authentication Cheat Sheet, account lockout; CWE-307)."""

import pytest

from adapters import limits
from gateway.service.members.attempts import Attempts

HERE, THERE = "192.0.2.7", "198.51.100.9"


def wrong(
    attempts: Attempts, times: int, *, member: str = "ANNA", address: str = HERE, now: float = 0
) -> None:
    for _ in range(times):
        attempts.failed(member, address, now)


def test_one_member_from_one_address() -> None:
    attempts = Attempts()
    wrong(attempts, limits.LOGIN_TRIES - 1)
    assert attempts.wait("ANNA", HERE, 0) == 0
    wrong(attempts, 1)
    assert attempts.wait("ANNA", HERE, 0) == 60
    assert attempts.wait("ANNA", HERE, 59.5) == 1
    assert attempts.wait("ANNA", HERE, 60) == 0
    assert attempts.wait("BEA", HERE, 0) == 0
    assert attempts.wait("ANNA", THERE, 0) == 0


def test_each_wrong_one_behind_a_lock_doubles_it_up_to_an_hour() -> None:
    attempts, now, waits = Attempts(), 0.0, []
    wrong(attempts, limits.LOGIN_TRIES)
    for _ in range(9):
        waits.append(attempts.wait("ANNA", HERE, now))
        now += waits[-1]
        wrong(attempts, 1, now=now)
    assert waits == [60, 120, 240, 480, 960, 1920, 3600, 3600, 3600]


def test_a_right_one_and_a_day_forget() -> None:
    attempts = Attempts()
    wrong(attempts, limits.LOGIN_TRIES - 1)
    attempts.accepted("ANNA", HERE)
    wrong(attempts, limits.LOGIN_TRIES - 1)
    assert attempts.wait("ANNA", HERE, 0) == 0
    wrong(attempts, limits.LOGIN_TRIES - 1, now=86_401)
    assert attempts.wait("ANNA", HERE, 86_401) == 0


def test_all_members_from_one_address() -> None:
    """Trying one password on many names."""
    attempts = Attempts()
    for number in range(limits.LOGIN_ADDRESS_TRIES):
        assert attempts.wait("ANNA", HERE, 0) == 0
        wrong(attempts, 1, member=f"M{number}")
    assert attempts.wait("ANNA", HERE, 0) == 60
    assert attempts.wait("ANNA", THERE, 0) == 0
    wrong(attempts, 5, member="X", now=61)
    assert attempts.wait("BEA", HERE, 61) == 60  # who shares the address never waits longer


def test_one_member_from_everywhere() -> None:
    """By many addresses; where that member was let in before, it still is."""
    attempts = Attempts()
    attempts.accepted("ANNA", HERE)
    for number in range(limits.LOGIN_MEMBER_TRIES):
        wrong(attempts, 1, address=f"203.0.113.{number}")
    assert attempts.wait("ANNA", THERE, 0) == 60
    assert attempts.wait("ANNA", HERE, 0) == 0


def test_one_ipv6_site_is_one_caller() -> None:
    attempts = Attempts()
    for number in range(limits.LOGIN_TRIES):
        wrong(attempts, 1, address=f"2001:db8::{number:x}")
    assert attempts.wait("ANNA", "2001:db8::ffff", 0) == 60


def test_what_is_remembered_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "LOGIN_KNOWN", 50)
    attempts = Attempts()
    for number in range(500):
        wrong(attempts, 1, member=f"M{number}", address=f"10.0.{number // 250}.{number % 250}")
        attempts.accepted(f"M{number}", f"10.1.{number // 250}.{number % 250}")
    assert len(attempts._counts) <= 50
    assert len(attempts._let_in) <= 50
