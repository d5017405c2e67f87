"""Requests at once: turns, a share for each far server, a queue, and 421 for those beyond it."""

import asyncio
import time
from collections.abc import Iterator
from contextlib import AsyncExitStack, closing, suppress
from dataclasses import replace
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import GatewayFull
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, GatewaySettings
from gateway.service.crowd import Crowd
from gateway.session.wishes import CallerWish, Granted, ListWish, Taken, Wish, WorkWish
from gateway.testing.stage import Stage
from tests.gateway.service.gate import Line

SECONDS = 10.0


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(tmp_path_factory.mktemp("stage"), lambda: tmp_path_factory.mktemp("scratch")) as stage:
        yield stage


class Slow:
    """Grants when it is told to."""

    def __init__(self) -> None:
        self.begun: list[str] = []
        self.end = asyncio.Event()

    def now(self, wish: Wish) -> Granted | None:
        return Taken() if isinstance(wish, CallerWish) else None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        if isinstance(wish, ListWish):
            self.begun.append(wish.ref.url)
        await self.end.wait()
        return Taken()


class Asked:
    """A crowd, and who asks in it."""

    def __init__(self, at_once: int, queue: int) -> None:
        self.catalogue = Catalogue(gateway=GatewaySettings(at_once=at_once, queue=queue))
        self.slow = Slow()
        self.crowd = Crowd(lambda: self.catalogue, self.slow)

    async def ask(self, url: str, seconds: float = SECONDS) -> "asyncio.Task[Granted]":
        task = asyncio.create_task(self.crowd.answer(ListWish(Ref(url)), seconds))
        await asyncio.sleep(0)
        return task


async def test_one_far_server_has_its_share_and_others_go_past_it() -> None:
    asked = Asked(8, 3)
    hanging = [await asked.ask("ftp://one.example/") for _ in range(4)]
    assert asked.slow.begun == ["ftp://one.example/"] * 2
    other = await asked.ask("ftp://two.example/")
    assert asked.slow.begun[2:] == ["ftp://two.example/"]
    assert [each.read() for each in asked.crowd.numbers] == [3, 2, 0]
    asked.slow.end.set()
    await asyncio.wait_for(asyncio.gather(*hanging, other), SECONDS)
    assert [each.read() for each in asked.crowd.numbers] == [0, 0, 0]


async def test_folders_of_this_computer_have_no_share() -> None:
    asked = Asked(8, 3)
    mine = [await asked.ask("file:///srv/") for _ in range(8)]
    assert len(asked.slow.begun) == 8
    asked.slow.end.set()
    await asyncio.gather(*mine)


async def test_a_queue_that_is_full_is_told_at_once_and_what_needs_no_wait_has_none() -> None:
    asked = Asked(4, 1)
    two = [await asked.ask("ftp://one.example/") for _ in range(2)]
    with pytest.raises(GatewayFull, match="Too many requests at once"):
        await (await asked.ask("ftp://one.example/"))
    assert asked.crowd.now(CallerWish(1)) == Taken()
    asked.catalogue = replace(asked.catalogue, gateway=replace(asked.catalogue.gateway, queue=2))  # a reload
    three = await asked.ask("ftp://one.example/")
    assert not three.done()
    asked.slow.end.set()
    await asyncio.gather(*two, three)


async def test_what_was_begun_is_not_held_up() -> None:
    """Laying out what came, when all turns are taken."""
    asked = Asked(4, 0)
    asked.slow.end.set()
    assert await asked.crowd.answer(WorkWish(1, lambda: None), SECONDS) == Taken()
    assert asked.crowd.numbers[0].read() == 0


async def test_who_waited_long_enough_is_told_and_who_leaves_the_queue_makes_room() -> None:
    asked = Asked(4, 1)
    first = await asked.ask("ftp://one.example/")
    with pytest.raises(GatewayFull):
        await (await asked.ask("ftp://one.example/", 0.02))
    left = await asked.ask("ftp://one.example/")
    left.cancel()
    with pytest.raises(asyncio.CancelledError):
        await left
    last = await asked.ask("ftp://one.example/")
    asked.slow.end.set()
    await asyncio.gather(first, last)
    assert len(asked.slow.begun) == 2


async def test_a_turn_that_comes_just_as_it_is_given_up_is_passed_on() -> None:
    asked = Asked(4, 2)
    first = await asked.ask("ftp://one.example/")
    second, third = [await asked.ask("ftp://one.example/") for _ in range(2)]
    first.cancel()
    await asyncio.sleep(0)  # the turn is the second's now, which has not noticed yet
    second.cancel()
    with pytest.raises(asyncio.CancelledError):
        await second
    asked.slow.end.set()
    await asyncio.wait_for(third, SECONDS)
    assert [each.read() for each in asked.crowd.numbers] == [0, 0, 0]


async def test_who_gives_up_in_the_moment_in_which_a_turn_is_free_does_not_keep_it() -> None:
    """Both happen in one turn of the loop, and whoever waits has not noticed yet. (Found by a soak.)"""
    asked = Asked(4, 2)
    first = await asked.ask("ftp://one.example/")
    second, third = [await asked.ask("ftp://one.example/") for _ in range(2)]
    first.cancel()
    second.cancel()
    for each in (first, second):
        with pytest.raises(asyncio.CancelledError):
            await each
    asked.slow.end.set()
    await asyncio.wait_for(third, SECONDS)
    assert [each.read() for each in asked.crowd.numbers] == [0, 0, 0]


def test_through_a_whole_gateway(stage: Stage) -> None:
    """421 is a reply like any other: the line stays, and the next request may fit."""
    far = stage.upstreams()
    far.on("/slow.txt").slow(1.0)
    gateway = stage.gateways(f'[gateway]\nat_once = 4\nqueue = 0\n[place.far]\nbase = "{far.url}/"\n')
    one, two = (stage.clients(gateway) for _ in range(2))
    one.send("TEXT far:slow.txt")
    far.wait_for(1)
    assert two.ask("TEXT far:slow.txt").status == 421
    assert two.ask("TIME").status == 200
    assert one.reply().status == 200
    assert two.ask("TEXT far:slow.txt").status == 200


async def large_far(begun: asyncio.Event, go: asyncio.Event) -> asyncio.Server:
    """A far server whose large documents come by half until `go`; small ones are small."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with closing(writer), suppress(OSError, asyncio.IncompleteReadError):
            while True:
                head = await reader.readuntil(b"\r\n\r\n")
                size = limits.LARGE_BYTES * 2 if b"large" in head else 10
                body = b'{"a": "%s"}' % (b"x" * size)
                writer.write(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n")
                writer.write(b"Content-Length: %d\r\n\r\n" % len(body))
                if b"slow" in head:
                    writer.write(body[: len(body) * 3 // 4])
                    body = body[len(body) * 3 // 4 :]
                    begun.set()
                    await go.wait()
                writer.write(body)
                await writer.drain()

    return await asyncio.start_server(serve, "127.0.0.1", 0)


@pytest.mark.parametrize("form", ["PICK {}:{}.json $.b", "TEXT {}:{}.txt"])
@pytest.mark.alone
async def test_so_many_large_documents_are_in_memory_at_one_time(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    """A second one waits at its far server until the first is dealt with, and small ones go past."""
    monkeypatch.setattr(limits, "LARGE_AT_ONCE", 1)
    begun, go = asyncio.Event(), asyncio.Event()
    far, other = await large_far(begun, go), await large_far(begun, go)
    ports = [each.sockets[0].getsockname()[1] for each in (far, other)]
    places = "".join(f'[place.p{port}]\nbase = "http://127.0.0.1:{port}/"\n' for port in ports)
    gateway = await asyncio.to_thread(stage.gateways, f"[gateway]\nwait = 30\n{places}")
    async with far, other, AsyncExitStack() as lines:

        async def line() -> Line:
            return await lines.enter_async_context(Line(gateway.port))

        def asked(number: int, name: str) -> bytes:
            return form.format(f"p{ports[number]}", name).encode() + b"\r"

        first, second, third = await line(), await line(), await line()
        for _ in range(2):  # the first time, a process may have to be started for it
            began = time.perf_counter()
            await first.say(asked(1, "large"))
        took = time.perf_counter() - began
        waits = asyncio.create_task(first.say(asked(0, "slow-large")))
        await asyncio.wait_for(begun.wait(), 20)
        late = asyncio.create_task(second.say(asked(1, "large")))
        for number in range(5):
            status = await third.say(asked(number % 2, f"small{number}"))
            assert status[:3] in {b"200", b"551"}, status
        await asyncio.wait({late}, timeout=took * 3 + 0.5)
        assert not waits.done()
        assert not late.done()
        go.set()
        for each in (waits, late):
            assert (await asyncio.wait_for(each, 20))[:3] in {b"200", b"551", b"552"}


async def test_who_has_waited_for_half_of_its_time_is_told_and_begins_nothing() -> None:
    """It would seem to be the far server that is late, and what is done in vain keeps others waiting."""
    asked = Asked(4, 3)
    first = await asked.ask("ftp://one.example/", 1.0)
    late = await asked.ask("ftp://one.example/", 0.2)
    soon = await asked.ask("ftp://one.example/", 5.0)
    await asyncio.sleep(0.12)
    asked.slow.end.set()
    await asyncio.gather(first, soon)
    with pytest.raises(GatewayFull, match="Too many requests at once"):
        await late
    assert len(asked.slow.begun) == 2
    assert [each.read() for each in asked.crowd.numbers] == [0, 0, 0]


async def test_a_long_listing_is_a_large_document_too(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Of some 1,750 entries on: what is made of each takes 600 bytes."""
    monkeypatch.setattr(limits, "LARGE_AT_ONCE", 1)
    for folder, count in (("long", 2_000), ("short", 5)):
        (tmp_path / folder).mkdir()
        for number in range(count):
            (tmp_path / folder / f"{number:04}.txt").touch()
    begun, go = asyncio.Event(), asyncio.Event()
    far = await large_far(begun, go)
    port = far.sockets[0].getsockname()[1]
    text = f'[gateway]\nwait = 30\n[place.far]\nbase = "http://127.0.0.1:{port}/"\n'
    text += f'[place.shelf]\nbase = "{tmp_path.as_uri()}/"\n'
    gateway = await asyncio.to_thread(stage.gateways, text)
    async with far, Line(gateway.port) as first, Line(gateway.port) as second:
        assert (await second.say(b"LIST shelf:long\r"))[:9] == b"200 02000"
        waits = asyncio.create_task(first.say(b"PICK far:slow-large.json $.b\r"))
        await asyncio.wait_for(begun.wait(), 20)
        assert (await second.say(b"LIST shelf:short\r"))[:9] == b"200 00005"
        late = asyncio.create_task(second.say(b"LIST shelf:long\r"))
        await asyncio.wait({late}, timeout=1.0)
        assert not late.done()
        go.set()
        assert (await asyncio.wait_for(late, 20))[:9] == b"200 02000"
        await asyncio.wait_for(waits, 20)
