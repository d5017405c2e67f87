"""A real connection and its session on a serial device; socat's pair of pseudo terminals is the cable."""

import asyncio
import os
import random
import shutil
import signal
import subprocess
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from adapters import limits
from gateway.catalogue.model import Catalogue, GatewaySettings, Listener
from gateway.service.clients.connection import Connection
from gateway.service.clients.resuming import Seat
from gateway.service.clocks import CLOCK
from gateway.service.devices.device import Device
from gateway.service.devices.wire import Wire
from gateway.service.server import Server
from gateway.session.conversation import Session
from gateway.session.state import World
from tests.gateway.service.clients.test_connection import SOURCES, Stand
from tests.gateway.service.devices.lines import until

pytestmark = pytest.mark.skipif(
    shutil.which("socat") is None, reason="SOCAT IS MISSING: no serial pair (apt-get install socat)"
)
NOOP = b"200 00001 040 ..\r\n" + b"hello".ljust(40) + b"\r\n"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("RETRY", "STEADY", "REST"):
        monkeypatch.setattr(limits, f"DEVICE_{name}_SECONDS", 0.05)


class Pair:
    """Two devices joined by a cable: `far` is the machine's, `near` the gateway's."""

    def __init__(self, folder: Path) -> None:
        self.near, self.far = folder / "near", folder / "far"
        self.plug()

    def plug(self) -> None:
        ends = [f"PTY,link={each},raw,echo=0" for each in (self.near, self.far)]
        self.process = subprocess.Popen(["socat", *ends], stderr=subprocess.DEVNULL)
        self.machine = -1

    async def ready(self) -> None:
        await until(lambda: self.near.exists() and self.far.exists())
        self.machine = os.open(self.far, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def unplug(self) -> None:
        """End socat, by its id: it takes both devices with it."""
        if self.machine >= 0:
            os.close(self.machine)
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        self.process.wait(5)

    def take(self) -> bytes:
        try:
            return os.read(self.machine, 65_536)
        except BlockingIOError:
            return b""

    async def hear(self, count: int) -> bytes:
        data = b""
        async with asyncio.timeout(10):
            while len(data) < count:
                data += self.take()
                await asyncio.sleep(0.002)
        return data

    async def ask(self, data: bytes, count: int) -> bytes:
        os.write(self.machine, data)
        return await self.hear(count)


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[Pair]:
    made = Pair(tmp_path)
    yield made
    made.unplug()


@asynccontextmanager
async def gateway(
    path: Path, greets: bool = False, seat: Seat | None = None, **given: float
) -> AsyncIterator[tuple[Server, Device, Stand]]:
    catalogue = Catalogue(
        gateway=GatewaySettings(**given),  # type: ignore[arg-type]
        listeners=(Listener(port=0),),
        sources=SOURCES,
    )
    stand = Stand()
    server = Server(catalogue, lambda _: stand)
    await server.start()
    world = World(lambda: catalogue, CLOCK.now)

    def begin(peer: str) -> Session:
        assert peer == ""  # a device has no address
        return Session(world, "PLAIN")

    device = Device(
        Wire(str(path), 115_200), lambda: Connection(server, begin, stand, Listener(greeting=greets), seat)
    )
    device.start()
    try:
        yield server, device, stand
    finally:
        device.shut()
        await server.stop()
        await asyncio.wait_for(device.stop(), 10)


async def test_noop_is_answered(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near) as (server, device, _):
        assert await pair.ask(b"NOOP hello\r", len(NOOP)) == NOOP
        assert server.clients == 1
        assert device.up
    assert server.clients == 0


async def test_a_character_that_came_broken_makes_no_request(pair: Pair) -> None:
    """A pseudo terminal has no parity: the 1Ah that stands for such a character is sent as it is."""
    await pair.ready()
    async with gateway(pair.near):
        assert (await pair.ask(b"NOOP hel\x1ao\r", 60)).startswith(b"500 00001 040")


async def test_bye_begins_afresh(pair: Pair) -> None:
    """What was set is the old session's; the device stays open."""
    await pair.ready()
    async with gateway(pair.near) as (server, device, _):
        assert await pair.ask(b"SET eol=cr\r", 17) == b"200 00000 000 ..\r"
        goodbye = await pair.ask(b"BYE\r", 17)
        assert goodbye.startswith(b"221")
        await until(lambda: not device.up)
        assert server.clients == 0
        assert await pair.ask(b"NOOP hello\r", len(NOOP)) == NOOP
        assert server.clients == 1


async def test_an_idle_machine_is_told_goodbye_once(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near, idle=0.1) as (_, device, _stand):
        assert (await pair.hear(18 + 42)).startswith(b"421 00001 040")
        await until(lambda: not device.up)
        await asyncio.sleep(2.5)  # two more looks at who is idle
        assert pair.take() == b""
        assert not device.up


async def test_a_greeting_comes_with_each_session(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near, greets=True) as (_, device, _stand):
        assert (await pair.hear(18)).startswith(b"220")
        await pair.ask(b"BYE\r", 18)
        await until(lambda: not device.up)
        await asyncio.sleep(0.1)
        pair.take()
        assert (await pair.ask(b"\r", 18)).startswith(b"220")


async def test_unplugged_half_way_through_a_reply(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near) as (server, device, _):
        begun = await pair.ask(b"ASK long\r", 2_000)
        assert begun.startswith(b"200 20000 008 ..\r\n00000000\r\n")
        pair.unplug()
        await until(lambda: not device.up)
        assert server.clients == 0
        pair.plug()
        await pair.ready()
        await until(lambda: device.up)
        assert await pair.ask(b"NOOP hello\r", len(NOOP)) == NOOP


async def test_a_line_that_was_lost_is_taken_up_again(pair: Pair) -> None:
    """With a seat, as a listener with `resume` has one: AGAIN brings the page that was cut off."""
    await pair.ready()
    seat = Seat(lambda: 60.0)
    async with gateway(pair.near, seat=seat) as (server, device, _):
        await pair.ask(b"ASK long\r", 2_000)
        pair.unplug()
        await until(lambda: not device.up)
        pair.plug()
        await pair.ready()
        await until(lambda: device.up)
        assert (await pair.ask(b"AGAIN\r", 18 + 20_000 * 10)).startswith(b"200 20000 008 ..\r\n00000000\r\n")
        assert server.clients == 1
    await seat.close()


async def test_a_long_reply_comes_whole(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near):
        whole = await pair.ask(b"ASK long\r", 18 + 20_000 * 10)
        assert whole[18:].split() == [b"%08d" % number for number in range(20_000)]


async def test_a_machine_that_reads_nothing_is_given_up(pair: Pair) -> None:
    """After `stall`; until then little waits for it."""
    await pair.ready()
    async with gateway(pair.near, stall=0.3) as (server, device, _):
        os.write(pair.machine, b"ASK full\r")
        await until(lambda: server.clients == 1)
        connection = next(iter(server.admission.here))
        assert isinstance(connection, Connection)
        waiting = 0
        async with asyncio.timeout(10):
            while device.up:
                transport = connection._transport
                waiting = max(waiting, transport.get_write_buffer_size() if transport else 0)
                await asyncio.sleep(0.005)
        assert 0 < waiting <= limits.WRITE_BUFFER_BYTES + 10_000
        assert server.clients == 0


async def test_cancel_stops_a_reply(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near):
        await pair.ask(b"ASK full\r", 1_000)
        os.write(pair.machine, b"\x18")
        rest = 0
        for _ in range(50):
            rest += len(pair.take())
            await asyncio.sleep(0.01)
        assert rest < 99_999 * 10 - 100_000
        assert await pair.ask(b"NOOP hello\r", len(NOOP)) == NOOP


async def test_garbage_as_from_a_wrong_speed(pair: Pair) -> None:
    """Every byte may come. It ends nothing, and a clean line is answered after it."""
    await pair.ready()
    chance = random.Random(2)
    async with gateway(pair.near) as (server, device, _):
        for _ in range(40):
            os.write(pair.machine, chance.randbytes(chance.randrange(1, 200)))
            await asyncio.sleep(0.005)
            pair.take()
        os.write(pair.machine, b"\r\x18\rBYE\r")
        await until(lambda: not device.up)
        await asyncio.sleep(0.1)
        pair.take()
        assert await pair.ask(b"NOOP hello\r", len(NOOP)) == NOOP
        assert server.clients == 1


async def test_a_full_gateway_says_so_and_waits(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near) as (server, device, _):
        await until(lambda: server.clients == 1)
        await pair.ask(b"BYE\r", 18)
        await until(lambda: not device.up)
        pair.take()
        server.admission.room = 0
        told = await pair.ask(b"NOOP\r", 16)
        assert told.startswith(b"421")
        for _ in range(20):
            told += pair.take()
            await asyncio.sleep(0.01)
        assert 1 <= told.count(b"421 0") <= 2
        server.admission.room = 10
        await until(lambda: not device.up)
        assert await pair.ask(b"NOOP hello\r", len(NOOP)) == NOOP


async def test_stopping_tells_the_machine(pair: Pair) -> None:
    await pair.ready()
    async with gateway(pair.near) as (server, _, _stand):
        await pair.ask(b"NOOP hello\r", len(NOOP))
    assert (await pair.hear(16)).startswith(b"421")
    assert server.clients == 0
