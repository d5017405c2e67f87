"""A line lost while its last request was being worked on (CONTRACT section 5, `resume = true`)."""

import asyncio
from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.gateway.service.gate import (
    NO_PAGE,
    RESUMING,
    Line,
    gate,
    losing,
)


@losing
async def test_lost_while_the_request_was_worked_on(lose: Callable[[Line], None]) -> None:
    """The request goes on without the client; AGAIN waits for it."""
    async with gate() as house, house.call() as old:
        old.writer.write(b"ASK slow\r")
        await asyncio.wait_for(house.world.begun.wait(), 5)
        lose(old)
        await asyncio.sleep(0.05)
        async with house.call() as new:
            new.writer.write(b"AGAIN\r")
            await asyncio.sleep(0.05)
            house.world.release.set()
            assert (await new.reply())[:9] == b"200 00003"
            assert (await new.say(b"NOOP there\r"))[18:23] == b"there"
        assert (house.world.asked, house.world.cancelled) == (["SLOW"], 0)


@pytest.mark.parametrize(
    ("request_line", "code", "told"), [(b"TELL vote", 558, b"TELL vote"), (b"ASK gone", 550, b"ASK gone")]
)
async def test_what_had_no_page_is_told_by_its_code_and_by_why(
    request_line: bytes, code: int, told: bytes
) -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(request_line + b"\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        house.world.release.set()
        async with house.call() as new:
            expected = f"No page; {code} was the last reply".ljust(40).encode()
            assert await new.say(b"AGAIN\r") == b"503 00001 040 ..\r\n" + expected + b"\r\n"
            why = await new.say(b"WHY\r")
            assert b"REQUEST  " + told in why
            assert b"REPLY    %d 00001 040 .." % code in why
            assert await new.say(b"AGAIN\r") == NO_PAGE
        assert len(house.world.asked) == 1


async def test_a_change_that_was_done_is_told_and_not_done_again() -> None:
    async with gate() as house:
        async with house.call() as old:
            assert (await old.say(b"STORE club:a.txt\r"))[:3] == b"350"
            old.writer.write(b">one\r.\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        async with house.call() as new:
            new.writer.write(b"AGAIN\r")
            await asyncio.sleep(0.02)
            house.world.release.set()
            assert b"No page; 250 was the last reply" in await new.reply()
        assert house.world.delivered == 1


async def test_with_a_window_any_last_reply_is_repeated() -> None:
    """Setting `window`: AGAIN resends the window, whatever reply it shows."""
    async with gate() as house:
        async with house.call() as old:
            await old.say(b"SET window=2\r\r")
            assert (await old.say(b"STORE club:a.txt\r"))[:3] == b"350"
            old.writer.write(b">one\r.\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        house.world.release.set()
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == b"250 00000 000 ..\r\n"


async def test_lost_in_the_middle_of_data_leaves_the_target_untouched() -> None:
    async with gate() as house:
        async with house.call() as old:
            await old.say(b"STORE club:a.txt\r")
            old.writer.write(b">one\r>tw")
            await asyncio.sleep(0.02)
            old.cut()
        await house.until(lambda: bool(house.world.stagings) and house.world.stagings[0].dropped)
        async with house.call() as new:
            assert b"No page; 350 was the last reply" in await new.say(b"AGAIN\r")
            new.writer.write(b"o\r.\rNOOP here\r")  # the rest of the data is no data any more
            assert (await new.reply())[:3] == b"500"
            assert (await new.reply())[:3] == b"500"
            assert (await new.reply())[18:22] == b"here"
        assert house.world.delivered == 0


async def test_a_request_that_nobody_asks_for_again_is_let_go() -> None:
    async with gate(replace(RESUMING, resume_for=0.1)) as house:
        async with house.call() as old:
            old.writer.write(b"ASK slow\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        await house.until(lambda: house.world.cancelled == 1)


async def test_or_given_up_by_another_request() -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(b"ASK slow\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        async with house.call() as new:
            await new.say(b"NOOP\r")
            await house.until(lambda: house.world.cancelled == 1)
            assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_two_lines_lost_in_a_row_and_the_second_while_it_waited() -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(b"ASK slow\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        for lose in (Line.cut, Line.leave, Line.end):
            async with house.call() as new:
                new.writer.write(b"AGAIN\r")
                await asyncio.sleep(0.05)
                lose(new)
        async with house.call() as last:
            last.writer.write(b"AGAIN\r")
            await asyncio.sleep(0.05)
            house.world.release.set()
            assert (await last.reply())[:9] == b"200 00003"
            assert (await last.say(b"NOOP mine\r"))[18:22] == b"mine"
            await house.until(lambda: house.server.clients == 1)
