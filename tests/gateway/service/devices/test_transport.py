"""The transport over a pseudo terminal: what asyncio says of transports, and what is its own."""

import asyncio
import errno
import io
import os
import random
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters import limits
from gateway.service.devices.port import Port, open_port
from gateway.service.devices.transport import DeviceTransport
from gateway.service.devices.wire import Wire
from tests.gateway.service.devices.lines import Machine, Noting, until

EVERY = bytes(range(256))


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    made = Machine(tmp_path / "tty")
    yield made
    made.unplug()


@pytest.fixture
def port(machine: Machine) -> Iterator[Port]:
    made = open_port(Wire(str(machine.link), 115_200))
    yield made
    made.close()


class Stand:
    """A transport, its protocol, and what whoever opened the device is told."""

    def __init__(self, port: Any, first: bytes = b"", protocol: Noting | None = None) -> None:
        self.protocol = protocol or Noting()
        self.ends: list[OSError | None] = []
        self.transport = DeviceTransport(port, "/dev/example", self.protocol, self.ends.append, first)


async def test_bytes_both_ways(machine: Machine, port: Port) -> None:
    stand = Stand(port)
    machine.say(EVERY)
    stand.transport.write(EVERY)
    stand.transport.write(bytearray(b"a"))
    stand.transport.write(memoryview(b"b"))
    stand.transport.writelines([b"c", b"d"])
    assert await machine.hear(260) == EVERY + b"abcd"
    await until(lambda: stand.protocol.data == EVERY)
    assert stand.protocol.transport is stand.transport
    stand.transport.close()
    await until(lambda: stand.ends)
    assert (stand.protocol.told, stand.ends) == (["made", "lost"], [None])


async def test_what_it_says_of_itself(port: Port) -> None:
    transport = Stand(port).transport
    assert isinstance(transport, asyncio.Transport)
    assert transport.get_extra_info("device") == "/dev/example"
    assert transport.get_extra_info("peername") is None
    assert transport.get_extra_info("socket") is None
    assert transport.get_extra_info("socket", 1) == 1
    assert not transport.can_write_eof()
    with pytest.raises(io.UnsupportedOperation) as caught:
        transport.write_eof()
    assert isinstance(caught.value, OSError)  # which is what a connection expects of a line that was quicker
    other = Noting()
    transport.set_protocol(other)
    assert transport.get_protocol() is other
    transport.abort()


async def test_bytes_that_were_read_before(machine: Machine, port: Port) -> None:
    machine.say(b" second")
    stand = Stand(port, b"first")
    await until(lambda: stand.protocol.data == b"first second")
    stand.transport.abort()


@pytest.mark.parametrize(
    ("given", "both"),
    [({}, (16_384, 65_536)), ({"high": 2_048}, (512, 2_048)), ({"low": 10}, (10, 40)), ({"high": 0}, (0, 0))],
)
async def test_water_marks(port: Port, given: dict[str, int], both: tuple[int, int]) -> None:
    """As a socket's transport has them: they are compared with it."""
    with_socket: dict[str, Any] = {}

    class Comparing(asyncio.Protocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            assert isinstance(transport, asyncio.Transport)
            transport.set_write_buffer_limits(**given)
            with_socket["limits"] = transport.get_write_buffer_limits()
            with pytest.raises(ValueError, match="high"):
                transport.set_write_buffer_limits(high=1, low=2)
            transport.abort()

    server = await asyncio.get_running_loop().create_server(Comparing, "127.0.0.1", 0)
    _, writer = await asyncio.open_connection(*server.sockets[0].getsockname()[:2])
    await until(lambda: with_socket)
    writer.transport.abort()
    server.close()
    transport = Stand(port).transport
    transport.set_write_buffer_limits(**given)
    assert transport.get_write_buffer_limits() == with_socket["limits"] == both
    with pytest.raises(ValueError, match="high"):
        transport.set_write_buffer_limits(high=1, low=2)
    transport.abort()


async def test_a_machine_that_does_not_read(machine: Machine, port: Port) -> None:
    """The protocol is asked to wait; what has been written waits, and comes whole later."""
    data = random.Random(1).randbytes(200_000)
    stand = Stand(port)
    stand.transport.set_write_buffer_limits(high=2_048)
    stand.transport.write(data)
    assert stand.protocol.told == ["pause"]
    await until(lambda: stand.transport.get_write_buffer_size() < 190_000)
    await asyncio.sleep(0.1)
    assert stand.protocol.told == ["pause", "made"]
    waiting = stand.transport.get_write_buffer_size()
    spent = os.times()
    await asyncio.sleep(0.4)
    assert stand.transport.get_write_buffer_size() == waiting
    assert sum(os.times()[:2]) - sum(spent[:2]) < 0.2, "waiting costs no processor time"
    assert await machine.hear(len(data)) == data
    await until(lambda: stand.protocol.told[-1] == "resume")
    assert stand.transport.get_write_buffer_size() == 0
    stand.transport.abort()


async def test_a_protocol_that_waits_when_asked_keeps_memory_small(machine: Machine, port: Port) -> None:
    stand = Stand(port)
    stand.transport.set_write_buffer_limits(high=2_048)
    most = wrote = 0
    while stand.protocol.told[-1:] != ["pause"]:
        stand.transport.write(b"x" * 512)
        wrote += 512
        most = max(most, stand.transport.get_write_buffer_size())
        await asyncio.sleep(0.002)
        assert wrote < 1_000_000
    assert most <= 2_048 + 512
    stand.transport.abort()


async def test_reading_pauses(machine: Machine, port: Port) -> None:
    stand = Stand(port)
    machine.say(b"one")
    await until(lambda: stand.protocol.data == b"one")
    stand.transport.pause_reading()
    stand.transport.pause_reading()
    assert not stand.transport.is_reading()
    machine.say(b"two")
    await asyncio.sleep(0.05)
    assert stand.protocol.data == b"one"
    stand.transport.resume_reading()
    stand.transport.resume_reading()
    assert stand.transport.is_reading()
    await until(lambda: stand.protocol.data == b"onetwo")
    stand.transport.abort()


async def test_close_lets_the_buffer_go_first(machine: Machine, port: Port) -> None:
    stand = Stand(port)
    stand.transport.write(b"y" * 100_000)
    stand.transport.close()
    stand.transport.write(b"not this")
    assert stand.transport.is_closing()
    machine.say(b"nor is this read")
    await asyncio.sleep(0.05)
    assert stand.ends == []
    assert await machine.hear(100_000) == b"y" * 100_000
    await until(lambda: stand.ends == [None])
    assert stand.protocol.told == ["pause", "made", "resume", "lost"]
    assert stand.protocol.data == b""
    stand.transport.close()
    stand.transport.abort()
    await asyncio.sleep(0.05)
    assert stand.ends == [None]


async def test_abort_drops_it(machine: Machine, port: Port) -> None:
    stand = Stand(port)
    stand.transport.write(b"z" * 100_000)
    await until(lambda: "made" in stand.protocol.told)
    stand.transport.close()
    stand.transport.abort()
    assert stand.transport.get_write_buffer_size() == 0
    await until(lambda: stand.ends == [None])
    assert len(machine.take()) < 100_000
    assert stand.protocol.error is None


async def test_a_line_that_was_never_up_is_not_told_as_lost(port: Port) -> None:
    stand = Stand(port)
    stand.transport.abort()
    await until(lambda: stand.ends == [None])
    assert stand.protocol.told == []


async def test_the_device_stays_open_for_the_next(machine: Machine, port: Port) -> None:
    first = Stand(port)
    machine.say(b"1")
    await until(lambda: first.protocol.data == b"1")
    first.transport.close()
    await until(lambda: first.ends)
    machine.say(b"2")
    second = Stand(port)
    await until(lambda: second.protocol.data == b"2")
    second.transport.write(b"3")
    assert await machine.hear(1) == b"3"
    assert first.protocol.data == b"1"
    second.transport.abort()


@pytest.mark.parametrize("doing", ["nothing", "writing", "closing"])
async def test_unplugged(machine: Machine, port: Port, doing: str) -> None:
    """IEEE Std 1003.1, "Modem Disconnect": reading gives an end of file or EIO, writing EIO."""
    stand = Stand(port)
    await until(lambda: stand.protocol.told)
    if doing != "nothing":
        stand.transport.write(b"x" * 100_000)
    if doing == "closing":
        stand.transport.close()
    await asyncio.sleep(0.02)
    machine.unplug()
    await until(lambda: stand.ends)
    assert isinstance(stand.protocol.error, OSError)
    assert stand.protocol.error.errno == errno.EIO
    assert stand.ends == [stand.protocol.error]
    assert stand.transport.is_closing()
    stand.transport.write(b"to nobody")
    await asyncio.sleep(0.02)
    assert stand.protocol.told.count("lost") == 1


async def test_unplugged_while_it_is_not_read(machine: Machine, port: Port) -> None:
    stand = Stand(port)
    stand.transport.pause_reading()
    machine.unplug()
    await asyncio.sleep(0.02)
    stand.transport.resume_reading()
    await until(lambda: stand.ends)
    assert isinstance(stand.ends[0], OSError)


@pytest.mark.parametrize("failing", ["connection_made", "data_received", "pause_writing", "connection_lost"])
async def test_a_protocol_that_fails_ends_its_line_only(machine: Machine, port: Port, failing: str) -> None:
    told: list[dict[str, Any]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: told.append(context))

    def fail(*_: object) -> None:
        raise ZeroDivisionError

    protocol = Noting()
    setattr(protocol, failing, fail)
    stand = Stand(port, protocol=protocol)
    machine.say(b"a")
    await asyncio.sleep(0.02)
    stand.transport.write(b"x" * 100_000)
    if failing == "connection_lost":
        stand.transport.abort()
    await until(lambda: stand.ends)
    assert stand.ends == [None]
    assert [type(each["exception"]) for each in told] == [ZeroDivisionError]


class Slow:
    """A port whose driver takes 100 bytes ahead, and has sent them by the next look."""

    def __init__(self, descriptor: int) -> None:
        self.descriptor = descriptor
        self.looks = 0

    def read(self) -> bytes:
        return b""

    def room(self) -> int:
        self.looks += 1
        return 100 if self.looks % 2 else 0


async def test_only_so_much_is_handed_to_the_system(machine: Machine, port: Port) -> None:
    """What CAN is to call back must not be there yet."""
    stand = Stand(Slow(port.descriptor))
    await until(lambda: stand.protocol.told)
    began = asyncio.get_running_loop().time()
    stand.transport.write(b"x" * 1_000)
    assert stand.transport.get_write_buffer_size() == 900
    await asyncio.sleep(limits.DEVICE_LOOK_SECONDS * 2.5)
    stand.transport.abort()
    await until(lambda: stand.ends)
    elapsed = asyncio.get_running_loop().time() - began
    assert 100 < len(machine.take()) <= 100 * (1 + int(elapsed / limits.DEVICE_LOOK_SECONDS))
    stand = Stand(Slow(port.descriptor))
    data = bytes(range(100)) * 5
    stand.transport.write(data)
    assert await machine.hear(500) == data
    stand.transport.abort()


async def test_it_goes_on_at_the_low_mark(machine: Machine, port: Port) -> None:
    sizes: list[int] = []

    class Weighing(Noting):
        def resume_writing(self) -> None:
            super().resume_writing()
            sizes.append(stand.transport.get_write_buffer_size())

    stand = Stand(Slow(port.descriptor), protocol=Weighing())
    stand.transport.set_write_buffer_limits(high=600, low=300)
    stand.transport.write(b"x" * 900)
    assert stand.protocol.told == ["pause"]
    await until(lambda: sizes)
    assert sizes == [300]
    stand.transport.abort()


@settings(max_examples=40)
@given(
    pieces=st.lists(st.binary(max_size=600), max_size=20), reads=st.lists(st.integers(1, 3_000), max_size=40)
)
def test_how_it_is_cut_never_matters(pieces: list[bytes], reads: list[int]) -> None:
    """All that was written arrives, once and in order, however it is written and read."""
    whole = b"".join(pieces)

    async def run(folder: Path) -> None:
        machine = Machine(folder)
        port = open_port(Wire(str(machine.link), 300))
        stand = Stand(port)
        heard = bytearray()
        for number, piece in enumerate(pieces):
            stand.transport.write(piece)
            if number < len(reads):
                await asyncio.sleep(0)
                with suppress(BlockingIOError):
                    heard += os.read(machine.master, reads[number])
        stand.transport.close()
        heard += await machine.hear(len(whole) - len(heard))
        await until(lambda: stand.ends == [None])
        assert bytes(heard) == whole
        port.close()
        machine.unplug()

    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(run(Path(folder) / "tty"))


async def test_a_look_that_finds_nothing_tells_nobody() -> None:
    """As when the one byte that came was a break."""
    reader, writer = os.pipe()
    told: list[bytes] = []

    class Marked:
        descriptor = reader

        def read(self) -> bytes:
            told.append(os.read(reader, 10))
            return b""

        def room(self) -> int:
            return 0

    stand = Stand(Marked())
    os.write(writer, b"x")
    await until(lambda: told == [b"x"])
    assert stand.protocol.data == b""
    assert stand.protocol.told == ["made"]
    stand.transport.abort()
    await until(lambda: stand.ends == [None])
    os.close(reader)
    os.close(writer)
