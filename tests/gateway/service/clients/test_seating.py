"""A member's lost line taken up after LOGIN (CONTRACT section 5), and nobody else's."""

import ipaddress
from collections.abc import Callable

import pytest

from adapters import limits
from gateway.catalogue.access import Member
from gateway.catalogue.model import Listener
from gateway.service.members.passwords import hashed
from tests.gateway.service.gate import NO_PAGE, RESUMING, TEN, Line, checked, gate, losing

MEMBERS = {name: Member(name, password=hashed("open sesame")) for name in ("ANNA", "BEA")}
PLAIN = Listener(port=0)
ANNA = b"LOGIN anna 'open sesame'\r"
BEA = b"LOGIN bea 'open sesame'\r"
IN = b"230 00000 000 ..\r\n"


@losing
async def test_again_after_login_takes_up_where_the_lost_line_was(lose: Callable[[Line], None]) -> None:
    async with gate(PLAIN, members=MEMBERS) as house, house.call() as old:
        assert await old.say(ANNA) == IN
        await old.say(b"SET page=3 cols=33\r")
        await old.say(b"ASK ten\r")
        second = await old.say(b"MORE\r")
        lose(old)
        async with house.call() as new:
            assert await new.say(ANNA) == IN
            assert await new.say(b"AGAIN\r") == second
            assert (await new.say(b"MORE\r"))[18:26] == b"00000007"
            assert b"COLS     33" in await new.say(b"SET\r")
            assert await new.say(b"LOGIN\r") == IN


async def test_again_and_what_is_behind_it_in_one_go() -> None:
    async with gate(PLAIN, members=MEMBERS) as house:
        async with house.call() as old:
            assert await old.say(ANNA) == IN
            assert await old.say(b"ASK ten\r") == TEN
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        async with house.call() as new:
            assert await new.say(ANNA + b"AGAIN\rAGAIN 10\rNOOP x\r") == IN
            assert await new.reply() == TEN
            assert await new.reply() == b"200 00001 008 ..\r\n00000010\r\n"
            assert (await new.reply())[:3] == b"200"


async def test_checks_go_on_as_they_were() -> None:
    async with gate(PLAIN, members=MEMBERS) as house:
        async with house.call() as old:
            assert await old.say(ANNA) == IN
            await old.say(b"SET check=crc\r", 4)
            told = await old.say(checked(b"ASK ten"), 4)
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        async with house.call() as new:
            assert await new.say(ANNA) == IN
            assert await new.say(checked(b"AGAIN"), 4) == told
            assert (await new.say(b"AGAIN\r", 4))[:3] == b"500"


@pytest.mark.parametrize(
    "first", [b"", b"LOGIN bea 'open sesame'\r", b"LOGIN anna wrong\r", b"LOGIN anna 'open sesame'\rNOOP\r"]
)
async def test_nobody_else_gets_it(first: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor the member itself, once anything else was asked."""
    monkeypatch.setattr(limits, "LOGIN_DELAY_SECONDS", 0.0)
    async with gate(PLAIN, members=MEMBERS) as house:
        async with house.call() as old:
            assert await old.say(ANNA) == IN
            assert await old.say(b"ASK ten\r") == TEN
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        async with house.call() as new:
            for _ in range(first.count(b"\r")):
                new.writer.write(first)
                first = b""
                await new.reply()
            assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_who_has_logged_out_left_nothing() -> None:
    async with gate(PLAIN, members=MEMBERS) as house:
        async with house.call() as old:
            assert await old.say(ANNA) == IN
            assert await old.say(b"ASK ten\r") == TEN
            assert await old.say(b"LOGIN\r") == IN
            assert await old.say(b"AGAIN\r") == NO_PAGE
            assert await old.say(b"ASK ten\r") == TEN
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        async with house.call() as new:
            assert await new.say(ANNA) == IN
            assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_where_one_machine_resumes_a_members_line_needs_the_secret() -> None:
    """With `resume = true` AGAIN alone takes up a line on which nobody was logged in, and no other."""
    async with gate(RESUMING, members=MEMBERS) as house:
        async with house.call() as old:
            assert await old.say(b"ASK ten\r") == TEN
            assert await old.say(ANNA) == IN
            assert await old.say(b"ASK ten\r") == TEN
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == NO_PAGE
            assert await new.say(ANNA) == IN
            assert await new.say(b"AGAIN\r") == TEN


async def test_a_session_that_is_taken_up_has_the_rights_of_where_it_is_now() -> None:
    """A machine that may more does not leave that to one that may less."""
    network = ipaddress.ip_network
    listener = Listener(
        port=0, resume=True, rights="NONE", rights_by_address=((network("127.0.0.2/32"), ""),)
    )
    async with gate(listener) as house:
        async with house.call(source="127.0.0.2") as old:
            assert await old.say(b"ASK ten\r") == TEN
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == TEN  # that was fetched before
            assert (await new.say(b"ASK ten\r"))[:3] == b"532"


async def test_two_lines_of_one_member_do_not_disturb_each_other() -> None:
    """The last to log in is the one that is kept."""
    async with gate(PLAIN, members=MEMBERS) as house, house.call() as one, house.call() as two:
        for each in (one, two):
            assert await each.say(ANNA) == IN
            assert await each.say(b"ASK ten\r") == TEN
        for each in (one, two, one):
            assert await each.say(b"AGAIN\r") == TEN
        two.cut()
        await house.until(lambda: house.server.clients == 1)
        assert await one.say(b"AGAIN\r") == TEN
