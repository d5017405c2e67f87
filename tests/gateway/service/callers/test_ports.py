"""Reserved ports over starts and reloads."""

import asyncio
import gc
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from types import MappingProxyType

import pytest

from adapters import limits
from adapters.errors import NotThere
from gateway.catalogue.model import Catalogue, ReservedPort
from gateway.service.callers.ports import CallPorts
from gateway.service.running.inheriting import CALLS, Inherited
from gateway.service.streams.tally import Tally
from tests.gateway.service.callers.callers import BUSY, free_port


class House:
    """A catalogue that changes, and its ports."""

    def __init__(self, *reserved: ReservedPort) -> None:
        self.take(*reserved)
        self.ports = CallPorts(lambda: self.catalogue, Tally())
        self.writers: list[asyncio.StreamWriter] = []

    async def dial(self, port: int) -> asyncio.StreamReader:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        self.writers.append(writer)
        return reader

    def take(self, *reserved: ReservedPort) -> None:
        self.catalogue = Catalogue(reserved=MappingProxyType({each.port: each for each in reserved}))

    async def reload(self, *reserved: ReservedPort) -> None:
        self.take(*reserved)
        await self.ports.close_old()
        await self.ports.open_new()
        self.ports.offer()


class Line:
    """A line at which callers ring; `rung` counts."""

    def __init__(self, rings: int) -> None:
        self.rings: int | None = rings
        self.rung = self.over = 0
        self.busy = False

    def ring(self) -> bool:
        self.rung += not self.busy
        return not self.busy

    def ring_over(self) -> None:
        self.over += 1


@asynccontextmanager
async def running(house: House) -> AsyncIterator[CallPorts]:
    await house.ports.start()
    try:
        yield house.ports
    finally:
        for each in house.writers:
            each.close()
        await house.ports.close()
        await house.ports.told()


async def waits(house: House, port: int) -> None:
    """Until somebody waits at the port."""
    async with asyncio.timeout(5):
        while house.ports.port(port).waiting is None:  # noqa: ASYNC110 nothing tells of it
            await asyncio.sleep(0.01)


async def test_a_reload_opens_closes_and_keeps() -> None:
    kept, old, new = (ReservedPort(free_port()) for _ in range(3))
    house = House(kept, old)
    async with running(house) as ports:
        stays, goes = await house.dial(kept.port), await house.dial(old.port)
        await waits(house, kept.port)
        await waits(house, old.port)
        await house.reload(replace(kept, busy="Another time"), new)
        assert await goes.read() == BUSY
        with pytest.raises(NotThere):
            ports.port(old.port)
        with pytest.raises(OSError):
            await house.dial(old.port)
        assert ports.port(kept.port).waiting == "127.0.0.1"
        ports.port(kept.port).turn_away()
        assert await stays.read() == b"Another time\r\n"
        await house.dial(new.port)
        await waits(house, new.port)


async def test_who_hears_at_a_port_that_is_no_more_is_told() -> None:
    reserved = ReservedPort(free_port())
    house = House(reserved)
    async with running(house) as ports:
        hearer = ports.port(reserved.port).hear()
        woken = asyncio.Event()
        hearer.wake = woken.set
        assert hearer.taken() is None
        await house.reload()
        assert woken.is_set()
        with pytest.raises(NotThere):
            hearer.taken()
        hearer.drop()


async def test_a_port_that_cannot_be_opened() -> None:
    """At the start nothing is opened; with a reload it is left out, and tried with the next."""
    good, bad = ReservedPort(free_port()), ReservedPort(free_port())
    with socket.socket() as other:
        other.bind(("127.0.0.1", bad.port))
        other.listen()
        house = House(good, bad)
        with pytest.raises(OSError):
            await house.ports.start()
        with pytest.raises(NotThere):
            house.ports.port(good.port)
        await house.reload(good, bad)
        house.ports.port(good.port)
        with pytest.raises(NotThere):
            house.ports.port(bad.port)
    await house.reload(good, bad)
    house.ports.port(bad.port)
    await house.ports.close()
    await house.ports.told()


async def test_lines_ring_in_their_order_and_follow_the_catalogue() -> None:
    one, two = ReservedPort(free_port()), ReservedPort(free_port())
    house = House(one, two)
    async with running(house) as ports:
        first, second = Line(one.port), Line(one.port)
        ports.join(first)
        ports.join(second)
        first.busy = True
        await house.dial(one.port)
        await waits(house, one.port)
        assert (first.rung, second.rung) == (0, 1)
        first.busy = False
        ports.free(first)
        assert first.rung == 0  # it rings at one line at a time
        ports.part(second)
        assert (first.rung, second.over) == (1, 0)
        assert ports.port(one.port).answered(second) is None
        called = ports.port(one.port).answered(first)
        assert called is not None
        called.call.drop()
        second.rings = two.port
        ports.join(second)
        await house.dial(two.port)
        await waits(house, two.port)
        assert second.rung == 2
        ports.part(first)
        ports.part(first)


async def test_callers_by_the_hundred_leave_nothing_behind() -> None:
    """One waits, the others are told, and too many at once are cut off."""
    reserved = ReservedPort(free_port())
    house = House(reserved)
    async with running(house) as ports:
        await house.dial(reserved.port)
        await waits(house, reserved.port)
        before = len(asyncio.all_tasks())
        told = 0
        for _ in range(4):
            readers = [await house.dial(reserved.port) for _ in range(50)]
            writers, house.writers[1:] = house.writers[1:], []
            for each in readers:
                with suppress(ConnectionError):
                    told += await each.read() == BUSY
            for writer in writers:
                writer.close()
        assert told > 100
        async with asyncio.timeout(8):
            while len(asyncio.all_tasks()) > before:  # noqa: ASYNC110 nor of this
                await asyncio.sleep(0.05)
        assert ports.port(reserved.port).waiting == "127.0.0.1"


async def test_a_ring_follows_a_reload() -> None:
    """It is over at a line that rings another port now, or none, and begins at one that does not any more."""
    one, two = ReservedPort(free_port()), ReservedPort(free_port())
    house = House(one, two)
    async with running(house) as ports:
        line = Line(one.port)
        ports.join(line)
        await house.dial(one.port)
        await waits(house, one.port)
        line.rings = None
        await house.reload(one, two)
        assert (line.rung, line.over) == (1, 1)
        assert ports.port(one.port).waiting is not None
        line.rings = one.port
        await house.reload(one, two)
        assert (line.rung, line.over) == (2, 1)
        line.rings = two.port
        await house.dial(two.port)
        await waits(house, two.port)
        await house.reload(one, two)
        assert (line.rung, line.over) == (3, 2)
        assert ports.port(one.port).answered(line) is None
        called = ports.port(two.port).answered(line)
        assert called is not None
        called.call.drop()


@pytest.mark.parametrize("turns", range(6))
async def test_who_comes_as_the_port_closes_is_not_left_waiting(turns: int) -> None:
    """Whatever turn of the loop lets a caller in: it is told, or its line is reset."""
    reserved = ReservedPort(free_port())
    house = House(reserved)
    async with running(house) as ports:
        callers = []
        for _ in range(3):
            caller = socket.create_connection(("127.0.0.1", reserved.port))
            caller.setblocking(False)
            callers.append(caller)
        for _ in range(turns):
            await asyncio.sleep(0)
        await ports.close()
        await ports.told()
        for caller in callers:
            with caller, suppress(ConnectionError):
                async with asyncio.timeout(5):
                    told = await read_all(caller)
                assert told in (b"", BUSY)


async def read_all(caller: socket.socket) -> bytes:
    """All that comes, to the end."""
    told = b""
    while data := await asyncio.get_running_loop().sock_recv(caller, 256):
        told += data
    return told


async def test_too_many_turned_away_leave_nothing_to_complain_of(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Who waits while others that were told have not hung up yet is cut off, and what listened to it ends."""
    monkeypatch.setattr(limits, "TURNED_AWAY", 1)
    reserved = ReservedPort(free_port())
    house = House(reserved)
    async with running(house) as ports:
        await house.dial(reserved.port)
        await waits(house, reserved.port)
        slow = await house.dial(reserved.port)
        assert await slow.readline() == BUSY
        ports.port(reserved.port).turn_away()
        await asyncio.sleep(0.05)
    gc.collect()
    await asyncio.sleep(0)
    assert not [each for each in caplog.records if "never retrieved" in each.getMessage()]


async def test_a_port_that_the_gateway_before_still_needs_is_opened_once_it_is_free() -> None:
    free, needed = ReservedPort(free_port()), ReservedPort(free_port())
    house = House(free, needed)
    tether, far = socket.socketpair()
    spot = (needed.host, needed.port, CALLS)
    house.ports = CallPorts(lambda: house.catalogue, Tally(), Inherited({spot: []}, tether=tether))
    async with running(house) as ports:
        assert set(ports.open) == {free.port}
        assert set(ports.sockets) == {(free.host, free.port, CALLS)}
        await ports.freed(free.port)
        assert set(ports.open) == {free.port}
        await ports.freed(None)
        assert set(ports.open) == {free.port, needed.port}
        assert set(await ports.close_unused()) == {free.port, needed.port}
        assert ports.open == {}
    tether.close()
    far.close()
