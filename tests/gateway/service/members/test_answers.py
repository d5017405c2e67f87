"""LOGIN as it is granted: one at a time, slowly where it is wrong, and alike for whoever is no member."""

import asyncio
import logging
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from adapters import limits
from adapters.errors import AskedTooOften, LoginRefused
from gateway.catalogue.access import Member
from gateway.service.members.answers import MemberAnswers
from gateway.service.members.passwords import hashed
from gateway.session.wishes import Accepted, Granted, LoginWish, Wish, Worked, WorkWish
from tests.gateway.service.members.test_codes import KEY, VECTORS

HERE = "192.0.2.7"
ANNA = Member("ANNA", password=hashed("opensesame"))


class Others:
    """Grants everything else."""

    def now(self, wish: Wish) -> Granted | None:
        return Worked("at once")

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        return Worked(seconds)


@asynccontextmanager
async def answers(*members: Member, epoch: float = 59) -> AsyncIterator[MemberAnswers]:
    made = MemberAnswers(lambda: {each.name: each for each in members}, Others(), lambda: epoch)
    try:
        yield made
    finally:
        made.close()


async def login(made: MemberAnswers, secret: str, member: str = "ANNA", address: str = HERE) -> str:
    """The member, or the sentence of what is wrong."""
    wish = LoginWish(member, secret, address)
    assert made.now(wish) is None
    try:
        granted = await made.answer(wish, 10)
    except (LoginRefused, AskedTooOften) as error:
        return error.sentence
    assert isinstance(granted, Accepted)
    return granted.member


async def test_right_and_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "LOGIN_DELAY_SECONDS", 0.4)
    async with answers(ANNA) as made:
        assert await login(made, "opensesame") == "ANNA"
        for secret, member in (("wrong", "ANNA"), ("opensesame", "NOBODY"), ("nobody", "NOBODY")):
            began = time.monotonic()
            assert await login(made, secret, member) == "LOGIN was not accepted"
            assert time.monotonic() - began >= 0.4
        assert made.now(WorkWish(0, list)) == Worked("at once")
        assert await made.answer(WorkWish(0, list), 2.5) == Worked(2.5)


async def test_whoever_is_no_member_takes_as_long_to_look_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the time would tell who is one (CWE-208)."""
    monkeypatch.setattr(limits, "LOGIN_DELAY_SECONDS", 0.0)
    monkeypatch.setattr(limits, "LOGIN_TRIES", 100)
    async with answers(ANNA, Member("COD", key=KEY)) as made:
        await login(made, "x", "NOBODY")  # makes the hash that is nobody's
        took = {}
        for member in ("ANNA", "NOBODY", "COD"):
            times = []
            for _ in range(3):
                began = time.perf_counter()
                await login(made, "wrong", member)
                times.append(time.perf_counter() - began)
            took[member] = min(times)
        assert max(took.values()) < 3 * min(took.values())


async def test_codes_are_good_once_and_a_password_beside_them_stays_good() -> None:
    member = Member("ANNA", password=ANNA.password, key=KEY)
    async with answers(member) as made:
        code = VECTORS[0][1][2:]
        assert await login(made, code) == "ANNA"
        assert await login(made, code) == "LOGIN was not accepted"
        assert await login(made, "opensesame") == "ANNA"


async def test_guessing_is_locked_out_before_anything_is_looked_at(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Many lines at once guess no more often than one; the right secret does not help during a lock."""
    monkeypatch.setattr(limits, "LOGIN_DELAY_SECONDS", 0.0)
    caplog.set_level(logging.INFO)
    async with answers(ANNA) as made:
        told = await asyncio.gather(*(login(made, f"guess{number}") for number in range(20)))
        assert told.count("LOGIN was not accepted") == limits.LOGIN_TRIES
        assert told.count("Too many log in at once; wait") == 20 - limits.LOGIN_QUEUE
        began = time.monotonic()
        assert await login(made, "opensesame") == "Too many wrong secrets; wait"
        assert time.monotonic() - began < 0.08
        assert await login(made, "opensesame", address="198.51.100.9") == "ANNA"
    logged = " ".join(each.getMessage() for each in caplog.records)
    assert logged.count("login refused: ANNA") == limits.LOGIN_TRIES
    assert "guess" not in logged
    assert "opensesame" not in logged


async def test_a_name_that_is_none_is_not_logged(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """It may be a secret in the wrong place."""
    monkeypatch.setattr(limits, "LOGIN_DELAY_SECONDS", 0.0)
    async with answers(ANNA) as made:
        await login(made, "ANNA", "OPENSESAME")
    assert "OPENSESAME" not in caplog.text
    assert "nobody of that name" in caplog.text
