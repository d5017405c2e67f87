"""A lost line taken up with AGAIN, on real sockets (CONTRACT section 5, `resume = true`)."""

import asyncio
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import assume, example, given, settings

from gateway.catalogue.model import Catalogue, Listener
from gateway.service.clients.resuming import Seat
from gateway.session.conversation import Session
from gateway.session.state import World
from tests.gateway.service.clients.test_connection import ANY_BYTES, well_formed
from tests.gateway.service.gate import (
    CHECKED,
    NO_PAGE,
    RESUMING,
    TEN,
    Line,
    checked,
    gate,
    losing,
)
from tests.gateway.talking import talk


@losing
async def test_again_takes_up_where_the_lost_line_was(lose: Callable[[Line], None]) -> None:
    async with gate() as house, house.call() as old:
        await old.say(b"SET page=3 mark=on cols=20\r")
        first, second = await old.say(b"ASK ten\r"), await old.say(b"MORE\r")
        assert second == b"200 00003 009 +.\r\n!00000004\r\n!00000005\r\n!00000006\r\n"
        lose(old)
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == second
            assert await new.say(b"AGAIN 2\r") == b"200 00001 009 +.\r\n!00000005\r\n"
            assert (await new.say(b"MORE\r"))[18:28] == b"!00000007\r"
            assert (await new.say(b"NOT\r"))[:16] == b"500 00001 020 .."
            assert first != second
        assert house.world.asked == ["TEN"]
        if lose is Line.leave:
            assert await asyncio.wait_for(old.reader.read(), 5) == b""
        await house.until(lambda: house.server.clients == 0)


@losing
async def test_base_and_settings_come_along(lose: Callable[[Line], None]) -> None:
    async with gate() as house, house.call() as old:
        await old.say(b"BASE club:docs/\r")
        await old.say(b"ASK ten\r")
        told = await old.say(b"SET cols=33 zone=Europe/Berlin\r") + await old.say(b"SET\r")
        lose(old)
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == TEN
            assert told.endswith(await new.say(b"SET\r"))


async def test_any_other_request_gives_it_up() -> None:
    for request in (b"NOOP", b"SET", b"HALT", b"ask 'x", b"WHY", b"BYE", b"noop *AB12"):
        async with gate() as house:
            async with house.call() as old:
                await old.say(b"ASK ten\r")
                old.cut()
            async with house.call() as new:
                await new.say(request + b"\r")
            async with house.call() as third:
                assert (await third.say(b"AGAIN\r"))[:3] == b"503", request


@pytest.mark.parametrize(
    "noise",
    [
        b"",
        b"\r\n",
        b"\x18",
        b"\xffgarble\r",
        b"AGBIN\r",
        b">data\r",
        b"? \r",
        b"A" * 300 + b"\r",
        b"half",
        b"MORE\r",
    ],
)
async def test_noise_does_not(noise: bytes) -> None:
    """Nor does MORE, which can only be a slip, nor a line that says nothing at all."""
    async with gate() as house:
        async with house.call() as old:
            await old.say(b"ASK ten\r")
            old.cut()
        for _ in range(2):
            async with house.call() as new:
                new.writer.write(noise)
                await asyncio.sleep(0.02)
                new.cut()
        async with house.call() as new:
            new.writer.write(noise + b"\x18AGAIN\r")
            data = b""
            while not data.endswith(TEN):
                data += await asyncio.wait_for(new.reader.read(1_000), 5)
            assert re.fullmatch(rb"(50[03] 00001 040 \.\.\r\n.{40}\r\n)*", data.removesuffix(TEN))


async def test_bye_ends_it_for_good() -> None:
    async with gate() as house:
        async with house.call() as old:
            await old.say(b"ASK ten\r")
            assert await old.say(b"BYE\r") == b"221 00000 000 ..\r\n"
            async with house.call() as new:  # the old one has not even hung up yet
                assert await new.say(b"AGAIN\r") == NO_PAGE
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_time_is_up() -> None:
    async with gate(replace(RESUMING, resume_for=0.2)) as house:
        async with house.call() as old:
            await old.say(b"ASK ten\r")
            old.cut()
        await asyncio.sleep(0.4)
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_nothing_is_kept_where_the_listener_does_not_say_so() -> None:
    async with gate(Listener(port=0)) as house:
        async with house.call() as old:
            await old.say(b"ASK ten\r")
            old.cut()
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_each_listener_has_its_own() -> None:
    async with gate(RESUMING, RESUMING) as house:
        async with house.call(0) as one, house.call(1) as other:
            await one.say(b"ASK ten\r")
            await other.say(b"SET cols=20\r")
            one.cut()
            other.cut()
        async with house.call(1) as other:
            assert (await other.say(b"AGAIN\r"))[:16] == b"503 00001 020 .."
        async with house.call(0) as one:
            assert await one.say(b"AGAIN\r") == TEN


async def test_lost_in_the_middle_of_a_long_reply() -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(b"ASK long\r")
            begun = await old.reader.readexactly(5_008)
            assert begun.startswith(b"200 20000 008 ..\r\n00000001")
            old.cut()
        async with house.call() as new:
            whole = await new.say(b"AGAIN\r")
            assert whole.startswith(begun)
            assert whole.endswith(b"\r\n00020000\r\n")


async def test_a_silent_line_in_the_middle_of_a_long_reply_is_cut() -> None:
    async with gate() as house, house.call() as old:
        old.writer.write(b"ASK long\r")
        await old.reader.readexactly(1_000)
        async with house.call() as new:
            assert len(await new.say(b"AGAIN\r")) == 18 + 20_000 * 10
            await house.until(lambda: house.server.clients == 1)


@losing
async def test_lost_in_the_middle_of_a_window(lose: Callable[[Line], None]) -> None:
    async with gate() as house, house.call() as old:
        await old.say(b"SET window=4\r\r")
        old.writer.write(b"ASK ten\r")
        assert await old.lines(4) == TEN[:48]
        old.writer.write(b"\r")
        await old.lines(2)
        lose(old)
        async with house.call() as new:
            new.writer.write(b"AGAIN\r")
            assert await new.lines(4) == TEN[48:88]
            new.writer.write(b"\r")
            assert await new.lines(3) == TEN[88:]
            new.writer.write(b"AGAIN 9\r")
            assert await new.lines(3) == b"200 00002 008 ..\r\n00000009\r\n00000010\r\n"


@losing
async def test_again_n_as_the_first_request(lose: Callable[[Line], None]) -> None:
    async with gate() as house, house.call() as old:
        await old.say(b"SET window=4\r\r")
        old.writer.write(b"ASK ten\r")
        await old.lines(4)
        lose(old)
        async with house.call() as new:
            new.writer.write(b"AGAIN 8\r")
            assert await new.lines(4) == b"200 00003 008 ..\r\n00000008\r\n00000009\r\n00000010\r\n"


async def test_lost_again_and_again() -> None:
    async with gate() as house:
        async with house.call() as line:
            await line.say(b"SET page=1\r")
            await line.say(b"ASK ten\r")
            line.cut()
        for number in range(1, 10):
            async with house.call() as line:
                assert (await line.say(b"AGAIN\r"))[18:26] == b"%08d" % number
                assert (await line.say(b"MORE\r"))[18:26] == b"%08d" % (number + 1)
                line.cut()


async def test_a_line_that_was_idle_too_long_may_come_back() -> None:
    async with gate(idle=0.1) as house, house.call() as old:
        await old.say(b"SET window=3\r\r")
        old.writer.write(b"ASK ten\r")
        shown = await old.lines(3)
        assert (await old.reply())[:3] == b"421"
        async with house.call() as new:
            new.writer.write(b"AGAIN\r")
            assert await new.lines(3) == shown


def test_the_check_of_these_tests() -> None:
    """31C3h for "123456789": the check value that the catalogue of CRC algorithms gives for CRC-16/XMODEM."""
    assert checked(b"123456789") == b"123456789 *31C3\r"


async def test_the_first_line_is_read_with_the_checks_of_the_lost_one() -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(CHECKED)
            await old.lines(1)
            old.writer.write(b"\r" + checked(b"ASK ten"))
            shown = await old.lines(4)
            old.cut()
        async with house.call() as new:
            for wrong in (b"AGAIN\r", b"AGAIN *0000\r"):
                assert (await new.say(wrong, 4))[:3] == b"500"
            new.writer.write(checked(b"AGAIN"))
            assert await new.lines(4) == shown
            new.writer.write(checked(b"AGAIN 9"))
            assert (await new.lines(3))[:16] == b"200 00002 012 .."


async def test_and_with_its_charset_and_bits() -> None:
    """Bit 7 is stripped both ways with seven bits; 9Bh ends a line in ascii only (CONTRACT section 1)."""
    seven = bytes(byte | 0x80 for byte in b"AGAIN 2\r")
    async with gate(replace(RESUMING, profile="LATIN")) as house:
        async with house.call() as old:
            await old.say(b"SET bits=7 charset=ascii\r")
            await old.say(b"ASK ten\r")
            old.cut()
        async with house.call() as new:
            assert await new.say(seven) == b"200 00001 008 ..\r\n00000002\r\n"
    async with gate(replace(RESUMING, profile="LATIN")) as house:
        async with house.call() as old:
            await old.say(b"SET charset=ascii eol=crlf\r")
            await old.say(b"ASK ten\r")
            old.cut()
        async with house.call() as new:
            assert await new.say(b"AGAIN 3\x9b") == b"200 00001 008 ..\r\n00000003\r\n"


async def test_what_came_before_the_line_was_known_is_not_lost() -> None:
    """Pipelined behind AGAIN, in one segment and byte by byte."""
    for pieces in ([b"AGAIN 1\rNOOP x\r"], [bytes((byte,)) for byte in b"AGAIN 1\rNOOP x\r"]):
        async with gate() as house:
            async with house.call() as old:
                await old.say(b"ASK ten\r")
                old.cut()
            async with house.call() as new:
                for piece in pieces:
                    new.writer.write(piece)
                    await asyncio.sleep(0.001)
                assert await new.reply() == b"200 00001 008 ..\r\n00000001\r\n"
                assert (await new.reply())[18:19] == b"x"


async def test_a_request_before_again_gives_up_however_it_was_cut() -> None:
    for pieces in ([b"NOOP\rAGAIN\r"], [b"NOOP\r", b"AGAIN\r"]):
        async with gate() as house:
            async with house.call() as old:
                await old.say(b"ASK ten\r")
                old.cut()
            async with house.call() as new:
                for piece in pieces:
                    new.writer.write(piece)
                    await asyncio.sleep(0.02)
                await new.reply()
                assert await new.reply() == NO_PAGE


async def test_two_machines_at_once() -> None:
    """Whoever asked last is taken up; who is connected keeps his own page."""
    async with gate() as house, house.call() as one, house.call() as two:
        await one.say(b"ASK ten\r")
        await two.say(b"SET page=2\r")
        shown = await two.say(b"ASK ten\r")
        assert await one.say(b"AGAIN\r") == TEN
        one.cut()
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == shown
            assert await asyncio.wait_for(two.reader.read(), 5) == b""


@settings(max_examples=60, deadline=None)
@given(ANY_BYTES)
@example(b"\xff\xfa\xff")  # a telnet block (RFC 855) that is not ended, nor would be by an FFh more
def test_any_bytes_on_a_new_line_give_well_formed_replies(data: bytes) -> None:
    """And the request after them is answered, whether or not one of them was AGAIN."""
    assume(b"bye" not in data.lower())
    clean = data.replace(b"\x18", b"")  # CAN may stop a reply half way

    async def run() -> bytes:
        async with gate() as house:
            async with house.call() as old:
                await old.say(b"ASK ten\r")
                old.cut()
            after = b"\xf0\xff\xf0\r\rSET plain eol=crlf\rNOOP still-here\r"
            return await talk("127.0.0.1", house.ports[0], clean + after)

    answer = asyncio.run(run())
    assert b"still-here" in answer
    assert well_formed(answer) >= 2


async def test_a_half_closed_client_gets_its_page() -> None:
    async with gate() as house:
        async with house.call() as old:
            await old.say(b"ASK ten\r")
            old.cut()
        assert await talk("127.0.0.1", house.ports[0], b"AGAIN\r") == TEN
        first = b"200 00001 008 ..\r\n00000001\r\n"
        assert await talk("127.0.0.1", house.ports[0], b"AGAIN\rAGAIN 1\r") == TEN + first


async def test_the_rest_of_a_long_page_after_a_line_without_a_window_was_lost() -> None:
    """AGAIN 1 takes the line up, a window from there on makes AGAIN n all that is left."""
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(b"ASK long\r")
            await old.reader.readexactly(18 + 150 * 10 + 3)
            old.cut()
        async with house.call() as new:
            assert await new.say(b"AGAIN 1\r") == b"200 00001 008 ..\r\n00000001\r\n"
            await new.say(b"SET window=5\r\r")
            new.writer.write(b"AGAIN 151\r")
            assert await new.lines(2) == b"200 19850 008 ..\r\n00000151\r\n"
            assert house.world.asked == ["LONG"]


class Holder:
    """Who holds a seat; it does not leave it when it is told to, but is noted."""

    surrendered = False

    def surrender(self) -> None:
        self.surrendered = True


def begun() -> Session:
    return Session(World(Catalogue, lambda: datetime.now(UTC)), "PLAIN")


async def test_a_seat_that_was_emptied_meanwhile_gives_nothing() -> None:
    """Its last request goes on without a line; before that ends, another line is asked something."""
    seat, lost, late = Seat(lambda: 60.0), Holder(), Holder()
    assert await seat.resume(late) is None
    seat.take(lost, begun())
    unfinished = asyncio.create_task(asyncio.sleep(60))
    seat.leave(lost, unfinished, for_good=False)
    resuming = asyncio.create_task(seat.resume(late))
    await asyncio.sleep(0.01)
    other, session = Holder(), begun()
    seat.take(other, session)
    assert await asyncio.wait_for(resuming, 5) is None
    assert unfinished.cancelled()
    assert seat.session is session
    assert not seat.held_by(late)


async def test_a_seat_that_is_no_more_is_not_taken() -> None:
    seat, holder = Seat(lambda: 60.0), Holder()
    await seat.close()
    seat.take(holder, begun())
    assert seat.session is None
    assert not seat.held_by(holder)


async def test_a_line_lost_while_it_takes_up_an_emptied_seat_keeps_nothing() -> None:
    seat, lost, late = Seat(lambda: 60.0), Holder(), Holder()
    seat.take(lost, begun())
    release = asyncio.Event()

    async def stays() -> None:
        try:
            await asyncio.sleep(60)
        except asyncio.CancelledError:
            await release.wait()

    unfinished = asyncio.create_task(stays())
    await asyncio.sleep(0)
    seat.leave(lost, unfinished, for_good=False)
    resuming = asyncio.create_task(seat.resume(late))
    await asyncio.sleep(0.01)
    closing = asyncio.create_task(seat.close())
    await asyncio.sleep(0.01)
    resuming.cancel()
    await asyncio.wait({resuming})
    assert resuming.cancelled()
    assert seat._expiry is None
    release.set()
    await closing
