"""Clients with a pace, gaps or flow control, over real loopback sockets (CONTRACT section 5)."""

import asyncio
import os
import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

import pytest

from gateway.catalogue.model import Catalogue, GatewaySettings, Listener
from gateway.service.clients.metering import Meter
from gateway.service.clients.pacing import Pacing
from gateway.service.server import Server
from gateway.wire.settings import Settings, change
from tests.gateway.service.clients.test_connection import SOURCES, Stand, cut, gateway
from tests.gateway.talking import replies

LONG = b"200 20000 008 ..\r\n" + b"".join(b"%08d\r\n" % number for number in range(20_000))


@dataclass
class Client:
    """A client that notes when what came."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    arrivals: list[tuple[float, bytes]] = field(default_factory=list)

    @property
    def data(self) -> bytes:
        return b"".join(data for _, data in self.arrivals)

    def send(self, data: bytes) -> float:
        self.writer.write(data)
        return asyncio.get_running_loop().time()

    async def receive(self, seconds: float) -> bytes:
        """What comes within `seconds`, or until the line ends."""
        loop, start = asyncio.get_running_loop(), len(self.arrivals)
        until = loop.time() + seconds
        while (left := until - loop.time()) > 0:
            try:
                data = await asyncio.wait_for(self.reader.read(65_536), left)
            except TimeoutError:
                break
            if not data:
                break
            self.arrivals.append((loop.time(), data))
        return b"".join(data for _, data in self.arrivals[start:])

    async def wait_for(self, end: bytes, seconds: float = 10) -> bytes:
        """What comes until it ends in `end`."""
        start = len(self.arrivals)
        async with asyncio.timeout(seconds):
            while not (found := b"".join(data for _, data in self.arrivals[start:])).endswith(end):
                data = await self.reader.read(65_536)
                assert data, found
                self.arrivals.append((asyncio.get_running_loop().time(), data))
        return found

    async def set(self, *pairs: str) -> None:
        self.send(b"SET " + " ".join(pairs).encode() + b"\r")
        assert await self.wait_for(b"200 00000 000 ..\r\n")
        self.arrivals.clear()


@asynccontextmanager
async def client(host: str, port: int, *pairs: str) -> AsyncIterator[Client]:
    reader, writer = await asyncio.open_connection(host, port)
    found = Client(reader, writer)
    try:
        if pairs:
            await found.set(*pairs)
        yield found
    finally:
        cut(writer)


@asynccontextmanager
async def paced_gateway(
    settings: Settings, greeting: bool = False, clients: int = 1_000
) -> AsyncIterator[tuple[Server, str, int]]:
    """A gateway whose only listener has these settings."""
    catalogue = Catalogue(
        gateway=replace(GatewaySettings(), clients=clients),
        listeners=(Listener(port=0, profile="SLOW", greeting=greeting),),
        profiles=MappingProxyType({"PLAIN": Settings(), "SLOW": settings}),
        sources=SOURCES,
    )
    server = Server(catalogue, lambda _: Stand())
    bound = (await server.start())[0]
    try:
        yield server, bound.host, bound.port
    finally:
        await server.stop()


def check_nothing_early(found: Client, pace: int, asked_at: float) -> None:
    """Byte n not before n character times after it was asked for."""
    received = 0
    for at, data in found.arrivals:
        received += len(data)
        assert received <= 1 + (at - asked_at) * pace, (pace, received, at - asked_at)


def rate_error(found: Client, pace: int) -> float:
    """Of the rate from the first arrival to the last, relative."""
    (first, begins), (last, _) = found.arrivals[0], found.arrivals[-1]
    return (len(found.data) - len(begins)) / (last - first) / pace - 1


def processor_wait() -> float:
    """Seconds that this thread has been ready to run while others ran, and that other machines on the same
    hardware took from a processor of this one (proc(5); Linux, else 0).
    """
    with suppress(OSError):
        ready = int(Path("/proc/thread-self/schedstat").read_text().split()[1]) / 1e9
        stolen = int(Path("/proc/stat").read_text().split(maxsplit=9)[8]) / os.sysconf("SC_CLK_TCK")
        return ready + stolen / (os.cpu_count() or 1)
    return 0.0


@pytest.mark.alone
async def test_twenty_clients_each_get_their_own_rate() -> None:
    """Within 2 %, measured for seven seconds: at 30 characters a second they are 210.

    Nothing is early, ever. Others may take the processor away from this process for longer than can be made
    up for in seven seconds: what it waited for one is granted, and one good measurement of five is enough.
    """
    paces = [
        30,
        30,
        60,
        90,
        120,
        120,
        180,
        240,
        240,
        300,
        300,
        480,
        480,
        600,
        960,
        960,
        960,
        1_200,
        1_920,
        1_920,
    ]
    errors: dict[int, float] = {}

    async def ask(host: str, port: int, pace: int) -> None:
        async with client(host, port, f"pace={pace}") as found:
            asked_at = found.send(b"ASK long\r")
            await found.receive(7)
            check_nothing_early(found, pace, asked_at)
            assert LONG.startswith(found.data)
            errors[pace] = rate_error(found, pace)

    for _ in range(5):
        waited = processor_wait()
        async with gateway() as (_, host, port):
            await asyncio.gather(*(ask(host, port, pace) for pace in paces))
        granted = 0.02 + (processor_wait() - waited) / 7
        if max(map(abs, errors.values())) < granted:
            break
    assert max(map(abs, errors.values())) < granted, errors


async def test_a_machine_without_a_buffer_is_served_byte_by_byte() -> None:
    async with gateway() as (_, host, port), client(host, port, "pace=300") as found:
        found.send(b"ASK long\r")
        await found.receive(1.5)
    single = sum(len(data) == 1 for _, data in found.arrivals)
    assert single / len(found.arrivals) > 0.8  # where the machine has nothing else to do, all


async def test_each_line_is_followed_by_its_gap() -> None:
    async with gateway() as (_, host, port), client(host, port, "gap=60") as found:
        asked_at = found.send(b"ASK long\rNOOP\r")
        await found.receive(1)
    times = [at for at, _ in found.arrivals]
    assert all(data.count(b"\r\n") == 1 for _, data in found.arrivals)
    assert 3 < len(times) <= 1 / 0.06 + 1
    for number, at in enumerate(times):
        assert at - asked_at >= number * 0.06


async def test_cancel_stops_a_paced_reply_at_a_line_end() -> None:
    async with gateway() as (_, host, port), client(host, port, "pace=200") as found:
        found.send(b"ASK long\r")
        await found.wait_for(b"3\r\n")
        found.send(b"\x18NOOP sync\r")
        await found.wait_for(b"sync" + b" " * 36 + b"\r\n", 5)
    body = found.data[: found.data.index(b"200 00001")]
    assert (len(body) - 18) % 10 == 0
    assert 40 <= len(body) - 18 < 200


async def test_the_time_to_answer_is_to_the_first_byte() -> None:
    """And a client that reads a long reply is neither stalled nor idle."""
    async with (
        gateway(wait=0.3, stall=0.3, idle=1.1) as (_, host, port),
        client(host, port, "pace=300") as found,
    ):
        found.send(b"ASK long\r")
        await found.receive(2.5)
        found.send(b"\x18NOOP\r")
        await found.wait_for(b"200 00000 000 ..\r\n", 1)


async def test_a_paced_client_that_reads_nothing_is_cut_off_and_holds_up_nobody() -> None:
    async with gateway(stall=0.5) as (server, host, port), client(host, port, "pace=300") as found:
        with socket.socket() as stuck:
            stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
            stuck.setblocking(False)
            loop = asyncio.get_running_loop()
            await loop.sock_connect(stuck, (host, port))
            await loop.sock_sendall(stuck, b"SET pace=100000\rASK long\r")
            asked_at = found.send(b"ASK long\r")
            await found.receive(2)
            check_nothing_early(found, 300, asked_at)
            assert len(found.data) > 200  # of 600: a machine may be busy, but nobody waits for the stuck one
            assert server.clients == 1


async def test_a_paced_client_that_reads_in_fits_gets_everything_and_no_burst_from_us() -> None:
    """What could have been sent while the socket was full is not made up for; TCP's own buffers are."""
    async with gateway() as (_, host, port):
        with socket.socket() as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
            line.setblocking(False)
            loop = asyncio.get_running_loop()
            await loop.sock_connect(line, (host, port))
            await loop.sock_sendall(line, b"SET pace=100000\rASK long\r")
            found = b""
            for _ in range(2):
                await asyncio.sleep(0.4)
                began, fit = loop.time(), 0
                while loop.time() - began < 0.3:
                    part = await loop.sock_recv(line, 2_048)
                    fit += len(part)
                    found += part
                assert fit < 0.3 * 100_000 * 1.1 + 30_000  # what the kernels held
            assert (b"200 00000 000 ..\r\n" + LONG).startswith(found)


@pytest.mark.parametrize("pace", [300, 1_920])
async def test_many_small_pieces_may_be_on_their_way(pace: int) -> None:
    """A client that looks four times a second acknowledges late (RFC 1122, 4.2.3.2), as a distant one does:
    hundreds of pieces of one byte or two are unacknowledged then, and the rate is to hold all the same.
    """
    for _ in range(3):  # others may have had the processor
        waited = processor_wait()
        async with gateway() as (_, host, port):
            with socket.socket() as line:
                line.setblocking(False)
                loop = asyncio.get_running_loop()
                await loop.sock_connect(line, (host, port))
                await loop.sock_sendall(line, b"SET pace=%d\rASK long\r" % pace)
                began, received = loop.time(), 0
                for _ in range(12):
                    await asyncio.sleep(0.25)
                    received += len(await loop.sock_recv(line, 65_536))
                seconds = loop.time() - began
        assert received <= pace * seconds + 1
        granted = 0.07 + (processor_wait() - waited) / 3
        if received > (1 - granted) * pace * seconds:
            break
    assert received > (1 - granted) * pace * seconds


@pytest.mark.parametrize("pairs", [("flow=xon", "pace=2000"), ("flow=xon",), ("flow=xon", "bits=7")])
async def test_a_client_that_asks_to_wait_gets_nothing_until_it_goes_on(pairs: tuple[str, ...]) -> None:
    xoff, xon = (b"\x93", b"\x91") if "bits=7" in pairs else (b"\x13", b"\x11")
    async with gateway(stall=0.3) as (_, host, port), client(host, port, *pairs) as found:
        found.send(b"ASK long\r")
        await found.receive(0.05)
        found.send(b"NOOP behind\r" + xoff)  # at once, although a request waits before it
        late = await found.receive(0.1)
        assert len(late) < 65_536  # what was there for the client to read
        assert await found.receive(0.6) == b""
        found.send(xon)
        assert await found.receive(0.1) != b""
        if "pace=2000" in pairs:
            return
        await found.wait_for(b"behind" + b" " * 34 + b"\r\n", 10)
    assert found.data[: len(LONG)] == LONG


async def test_little_is_on_its_way_to_a_client_that_asks_to_wait() -> None:
    """What its own system has taken, 2 KB here, and at most what ours had not sent yet. Measured: about 3 KB;
    9 KB without a limit on what the kernel takes ahead.
    """
    async with gateway() as (_, host, port):
        with socket.socket() as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
            line.setblocking(False)
            loop = asyncio.get_running_loop()
            await loop.sock_connect(line, (host, port))
            await loop.sock_sendall(line, b"SET flow=xon\rASK long\r")
            for _ in range(20):
                await loop.sock_recv(line, 100)
                await asyncio.sleep(0.02)
            await loop.sock_sendall(line, b"\x13")
            late = 0
            with pytest.raises(TimeoutError):
                while True:
                    late += len(await asyncio.wait_for(loop.sock_recv(line, 65_536), 0.4))
            assert late < 6_000


async def test_cancel_ends_the_wait() -> None:
    async with gateway() as (_, host, port), client(host, port, "flow=xon", "pace=500") as found:
        found.send(b"ASK long\r")
        await found.receive(0.1)
        found.send(b"\x13")
        await found.receive(0.2)
        found.send(b"\x18NOOP\r")
        await found.wait_for(b"200 00000 000 ..\r\n", 1)


async def test_a_wait_ends_with_the_setting_and_with_the_clients_own_end() -> None:
    async with gateway() as (_, host, port):
        async with client(host, port, "flow=xon") as found:
            found.send(b"\x13SET flow=none\r")
            await found.wait_for(b"200 00000 000 ..\r\n", 1)
        async with client(host, port, "flow=xon") as found:
            found.send(b"\x13NOOP\rNOOP\r")
            assert await found.receive(0.2) == b""
            found.writer.write_eof()
            await found.wait_for(b"200 00000 000 ..\r\n" * 2, 1)


async def test_a_client_that_waits_too_long_is_idle() -> None:
    async with gateway(idle=0.6, stall=0.1) as (_, host, port), client(host, port, "flow=xon") as found:
        loop = asyncio.get_running_loop()
        began = found.send(b"\x13NOOP\r")
        assert await asyncio.wait_for(found.reader.read(), 3) == b""
        assert 0.5 < loop.time() - began < 2


async def test_a_client_that_sends_more_than_is_kept_cannot_wait() -> None:
    """What would let it go on is not read any more."""
    async with gateway() as (_, host, port), client(host, port, "flow=xon") as found:
        found.send(b"\x13" + b"NOOP\r" * 10_000)
        whole = b"200 00000 000 ..\r\n" * 10_000
        received = 0
        async with asyncio.timeout(20):
            while received < len(whole):
                received += len(await found.reader.read(65_536))
        assert received == len(whole)


async def test_all_that_is_written_is_paced() -> None:
    """Greeting, telnet's refusals, echo, goodbye: 100 characters a second."""
    slow = Settings(pace=100, echo=True)
    clock = asyncio.get_running_loop().time
    async with paced_gateway(slow, greeting=True) as (server, host, port), AsyncExitStack() as stack:
        began = clock()
        found = await stack.enter_async_context(client(host, port))
        found.send(b"\xff\xfd\x01NOOP\r")
        greeting = b"220 00001 040 ..\r\nHEADRACE 1"
        await found.wait_for(b"\xff\xfc\x01NOOP\r\n200 00000 000 ..\r\n", 3)
        assert found.data.startswith(greeting)
        assert clock() - began >= (len(found.data) - 1) / 100
        stopping = asyncio.create_task(server.stop())
        began, before = clock(), len(found.data)
        await found.receive(5)
        goodbye = found.data[before:]
        assert replies(goodbye)[0][0][:3] == "421"
        assert found.arrivals[-1][0] - began >= (len(goodbye) - 1) / 100
        await stopping


async def test_an_echo_comes_at_once_where_nothing_is_being_sent() -> None:
    async with gateway() as (_, host, port), client(host, port, "pace=30", "echo=on") as found:
        await asyncio.sleep(0.1)
        for each in (b"T", b"I", b"M"):
            began = found.send(each)
            await found.wait_for(each, 1)
            assert found.arrivals[-1][0] - began < 0.03
            await asyncio.sleep(0.05)


async def test_a_gap_follows_the_echo_of_a_line_but_not_of_a_character() -> None:
    async with gateway() as (_, host, port), client(host, port, "gap=200", "echo=on") as found:
        await asyncio.sleep(0.25)
        began = asyncio.get_running_loop().time()
        for each in (b"N", b"O", b"O", b"P"):
            found.send(each)
            await found.wait_for(each, 1)
        assert found.arrivals[-1][0] - began < 0.15
        found.send(b"\r")
        await found.wait_for(b"200 00000 000 ..\r\n", 1)
        (echoed, _), (answered, status) = found.arrivals[-2:]
        assert status == b"200 00000 000 ..\r\n"
        assert answered - echoed > 0.19


async def test_one_client_too_many_is_told_so_at_its_pace() -> None:
    async with (
        paced_gateway(Settings(pace=100), clients=1) as (_, host, port),
        client(host, port),
        client(host, port) as found,
    ):
        began = asyncio.get_running_loop().time()
        await found.receive(3)
        assert replies(found.data)[0][0] == "421 00001 040 .."
        assert found.arrivals[-1][0] - began > 0.5


async def test_stop_finishes_a_paced_reply_and_then_says_goodbye() -> None:
    async with gateway() as (server, host, port), client(host, port, "pace=200") as found:
        found.send(b"ASK quick\r")
        await found.receive(0.05)
        stopping = asyncio.create_task(server.stop())
        await found.receive(5)
        assert [status[:3] for status, _ in replies(found.data)] == ["200", "421"]
        await asyncio.wait_for(stopping, 5)


async def test_stop_cuts_a_paced_reply_that_would_take_hours() -> None:
    async with gateway(wait=0.2) as (server, host, port), client(host, port, "pace=30") as found:
        found.send(b"ASK full\r")
        await found.receive(0.3)
        loop = asyncio.get_running_loop()
        began = loop.time()
        await server.stop()
        assert loop.time() - began < 5
        assert server.clients == 0


async def test_with_a_window_no_byte_beyond_it_is_on_its_way() -> None:
    async with gateway() as (_, host, port), client(host, port, "window=3", "pace=2000") as found:
        for expected in (LONG[:38], LONG[38:68]):
            found.send(b"ASK long\r" if expected == LONG[:38] else b"\r")
            assert await found.wait_for(expected[-10:]) == expected
            assert await found.receive(0.2) == b""


async def test_a_full_page_is_not_laid_down_before_it_is_sent() -> None:
    """99,999 records at 300 bits a second are nine hours; the first is there at once, and CAN ends them."""
    async with gateway() as (server, host, port), client(host, port, "pace=30") as found:
        found.send(b"ASK full\r")
        assert await found.wait_for(b"200 99999 008 ..\r\n0000")
        found.send(b"\x18NOOP\r")
        await found.wait_for(b"200 00000 000 ..\r\n")
        assert server.pacing.paced == 0


async def test_a_full_page_with_flow_control_arrives_whole() -> None:
    async with gateway() as (_, host, port), client(host, port, "flow=xon") as found:
        found.send(b"ASK full\r")
        await found.wait_for(b"00099998\r\n", 30)
    assert len(found.data) == 18 + 99_999 * 10


async def test_settings_take_and_give_up_a_pace_at_once() -> None:
    async with gateway() as (server, host, port), client(host, port) as found:
        began = found.send(b"SET pace=50\r")
        await found.wait_for(b"200 00000 000 ..\r\n")
        assert found.arrivals[-1][0] - began >= 17 / 50
        found.send(b"SET pace=0\r")
        await found.wait_for(b"200 00000 000 ..\r\n", 0.5)
        found.send(b"ASK long\r")
        await found.wait_for(LONG[-10:], 3)
        assert found.data.endswith(LONG)
        assert server.pacing.paced == 0


class Line(asyncio.Transport):
    """A socket that takes everything and notes it, until it is lost or full."""

    def __init__(self) -> None:
        super().__init__()
        self.taken = bytearray()
        self.lost = False

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.taken += data

    def is_closing(self) -> bool:
        return self.lost

    def abort(self) -> None:
        self.lost = True

    def get_write_buffer_size(self) -> int:
        return 0


@dataclass
class House:
    """Nobody's patience ends here, unless told otherwise."""

    pacing: Pacing = field(default_factory=Pacing)
    stall: float = 60.0

    def stall_seconds(self) -> float:
        return self.stall

    def idle_seconds(self) -> float:
        return 300.0


def metered(line: Line, house: House | None = None, **pairs: int | str) -> Meter:
    loop = asyncio.get_running_loop()
    settings = Settings(**pairs)  # type: ignore[arg-type]
    return Meter(house or House(), line, settings, loop.time)


async def test_bare_bytes_stop_anywhere() -> None:
    """READ with bytes=raw: a slice is no line."""
    line = Line()
    meter = metered(line, pace=1_000)
    sending = asyncio.create_task(meter.send(iter((b"200 08000 001 ..\r\n", b"a" * 8_000)), False))
    await asyncio.sleep(0.1)
    meter.abandon()
    before = len(line.taken)
    await asyncio.wait_for(sending, 1)
    assert len(line.taken) - before < 20


@pytest.mark.parametrize(("before", "sent"), [(b"", 512), (b"a", 513)])
async def test_bare_bytes_do_not_stop_within_a_doubled_ffh(before: bytes, sent: int) -> None:
    """Telnet's IAC is doubled (RFC 854). The first 512 bytes leave at once, 18 of them the status line's."""
    line = Line()
    meter = metered(line, flow="xon")
    lines = iter((b"200 08000 001 ..\r\n", before + b"\xff" * 8_000))
    sending = asyncio.create_task(meter.send(lines, False))
    await asyncio.sleep(0)
    assert len(line.taken) == 512
    meter.abandon()
    await asyncio.wait_for(sending, 1)
    assert len(line.taken) == sent


async def test_what_fails_while_lines_are_made_is_for_whoever_sends() -> None:
    def lines() -> Iterator[bytes]:
        yield b"200 00002 003 ..\r\n"
        yield b"abc\r\n"
        raise ZeroDivisionError

    line, house = Line(), House()
    with pytest.raises(ZeroDivisionError):
        await asyncio.wait_for(metered(line, house, pace=1_000).send(lines(), False), 2)
    assert line.taken.startswith(b"200 00002 003 ..\r\n")
    assert house.pacing.paced == 0


async def test_a_lost_line_ends_what_is_sent_to_it() -> None:
    line, house = Line(), House()
    meter = metered(line, house, pace=10)
    sending = asyncio.create_task(meter.send(iter((b"x" * 200,)), False))
    await asyncio.sleep(0.05)
    line.lost = True
    meter.look()
    await asyncio.wait_for(sending, 0.5)
    assert house.pacing.paced == 0


async def test_nothing_is_written_while_the_socket_is_full_and_that_only_so_long() -> None:
    line, house = Line(), House(stall=0.3)
    meter = metered(line, house, pace=1_000)
    sending = asyncio.create_task(meter.send(iter((b"x" * 200, b"y" * 200)), False))
    await asyncio.sleep(0.05)
    meter.block()
    before = len(line.taken)
    assert before > 0
    await asyncio.sleep(0.1)
    assert len(line.taken) == before
    meter.unblock()
    await asyncio.sleep(0.05)
    assert before < len(line.taken) < before + 100  # what could have been sent meanwhile is not made up for
    meter.block()
    await asyncio.wait_for(sending, 2)
    assert line.lost


async def test_nobody_who_sends_no_more_is_left_in_the_tick() -> None:
    line, house = Line(), House()
    sending = asyncio.create_task(metered(line, house, pace=10).send(iter((b"x" * 200,)), False))
    await asyncio.sleep(0.02)
    assert house.pacing.paced == 1
    sending.cancel()
    await asyncio.gather(sending, return_exceptions=True)
    assert house.pacing.paced == 0


class Wire(asyncio.Transport):
    """Takes what is written; `left` bytes were there before."""

    def __init__(self, left: int = 0) -> None:
        super().__init__()
        self.left, self.written = left, b""

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.written += bytes(data)

    def get_write_buffer_size(self) -> int:
        return self.left

    def is_closing(self) -> bool:
        return False


def lines(*items: bytes | Exception) -> Iterator[bytes]:
    for each in items:
        if isinstance(each, Exception):
            raise each
        yield each


async def test_what_the_socket_had_not_taken_is_waited_for() -> None:
    async with gateway() as (server, _, _):
        wire = Wire(left=100)
        loop = asyncio.get_running_loop()
        meter = Meter(server, wire, change(Settings(), [("pace", "100000")]), loop.time)
        sending = asyncio.create_task(meter.send(lines(b"abc"), held=False))
        await asyncio.sleep(0.05)
        assert (wire.written, sending.done()) == (b"", False)
        meter.unblock()
        meter.unblock()  # once more than it was blocked
        await asyncio.wait_for(sending, 5)
        assert wire.written == b"abc"


async def test_a_fault_in_a_reply_is_its_senders() -> None:
    async with gateway() as (server, _, _):
        wire, loop = Wire(), asyncio.get_running_loop()
        meter = Meter(server, wire, change(Settings(), [("pace", "200")]), loop.time)
        with pytest.raises(ZeroDivisionError):
            await asyncio.wait_for(meter.send(lines(b"ab", ZeroDivisionError()), held=False), 5)
        assert wire.written == b"a"  # what was to go with the next piece went with that
        assert meter.pump(loop.time(), 0.0) is None  # a look that was due in the same moment


async def test_a_fault_behind_the_end_of_a_send_is_nobodys() -> None:
    """Whoever waited for it was ended in the moment before."""
    async with gateway() as (server, _, _):
        wire, loop = Wire(), asyncio.get_running_loop()
        meter = Meter(server, wire, change(Settings(), [("pace", "10")]), loop.time)
        sending = asyncio.create_task(meter.send(lines(b"ab", ZeroDivisionError()), held=False))
        await asyncio.sleep(0.01)
        sending.cancel()
        assert meter.pump(loop.time() + 1, 0.0) is None
        await asyncio.wait({sending})
        assert sending.cancelled()
