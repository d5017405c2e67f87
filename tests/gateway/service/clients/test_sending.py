"""What is sent goes on while other things happen: typing, new settings, much flow control, the end."""

import asyncio
import socket
from contextlib import ExitStack

import pytest

from gateway.service.clients.pacing import Pacing
from gateway.service.clients.sending import set_send_buffer, set_unsent
from tests.gateway.service.clients.test_connection import gateway
from tests.gateway.service.clients.test_metering import client
from tests.gateway.talking import replies


@pytest.mark.parametrize("half_closed", [False, True])
async def test_what_is_typed_while_an_echo_goes_out_is_answered(half_closed: bool) -> None:
    """At 100 characters a second, the echo of two takes longer than the next three take to come."""
    async with gateway() as (_, host, port), client(host, port, "pace=100", "echo=on") as found:
        found.send(b"NO")
        await asyncio.sleep(0.002)
        found.send(b"OP\r")
        if half_closed:
            found.writer.write_eof()
        await found.wait_for(b"NOOP\r\n200 00000 000 ..\r\n", 3)


async def test_a_gap_is_kept_whatever_is_set_behind_it() -> None:
    async with gateway() as (_, host, port), client(host, port, "gap=300") as found:
        found.send(b"NOOP\rSET gap=301\rSET pace=90000\rSET gap=0\r")
        await found.wait_for(b"200 00000 000 ..\r\n" * 4)
    times = [at for at, _ in found.arrivals]
    assert times[1] - times[0] > 0.29
    assert times[-1] - times[0] > 0.89


async def test_a_pace_is_kept_whatever_is_set_behind_it() -> None:
    """18 characters at 20 a second, 18 at 25: the first of these is not sooner than a 20th after the last."""
    async with gateway() as (_, host, port), client(host, port, "pace=20") as found:
        began = found.send(b"NOOP\rSET pace=25\r")
        await found.receive(1.2)
        received = 0
        for at, data in found.arrivals:
            received += len(data)
            assert received <= 1 + (at - began) * 20 or received > 18
            assert received <= 18 or at - began >= 18 / 20


async def test_flow_control_goes_on_however_much_of_it_there_is() -> None:
    """A machine that asks to wait after each line sends more than may be pipelined, during one reply."""
    async with gateway() as (_, host, port), client(host, port, "flow=xon", "pace=3000") as found:
        found.send(b"ASK full\r")
        for _ in range(25):
            found.send(b"\x13\x11" * 500)
            await found.receive(0.02)
        found.send(b"\x13")
        await found.receive(0.3)
        assert await found.receive(0.3) == b""
        found.send(b"\x18NOOP\r")
        await found.wait_for(b"200 00000 000 ..\r\n", 3)


@pytest.mark.parametrize("half_closed", [False, True])
async def test_who_does_not_read_the_last_of_it_is_let_go(half_closed: bool) -> None:
    """However much of the replies the kernels take: for some of these counts, not all, but nearly."""
    async with gateway(stall=0.3) as (server, host, port):
        loop = asyncio.get_running_loop()
        with ExitStack() as lines:
            for count in range(300, 800, 10):
                line = lines.enter_context(socket.socket())
                line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
                line.setblocking(False)
                await loop.sock_connect(line, (host, port))
                await loop.sock_sendall(line, b"NOOP\r" * count + b"BYE\r")
                if half_closed:
                    line.shutdown(socket.SHUT_WR)
            for _ in range(200):
                if not server.clients:
                    break
                await asyncio.sleep(0.05)
            assert server.clients == 0


async def test_stop_ends_a_slow_reply_at_a_line_end_and_says_so() -> None:
    async with gateway(wait=0.3) as (server, host, port), client(host, port, "pace=120") as found:
        found.send(b"ASK full\r")
        await found.receive(0.3)
        stopping = asyncio.create_task(server.stop())
        await found.receive(5)
        await stopping
    status, *records = found.data.split(b"\r\n")[:-3]
    assert status == b"200 99999 008 .."
    assert records == [b"%08d" % number for number in range(len(records))]
    assert replies(found.data[found.data.index(b"421") :])[0][1][0].startswith(b"The gateway is going down")


class Never:
    """Nothing is ever due."""

    def pump(self, now: float, grain: float) -> float | None:
        return now + 1_000


async def test_looks_that_were_put_off_are_not_kept() -> None:
    """A client that asks to wait and goes on, again and again: each time until when it may last."""
    pacing, now = Pacing(), asyncio.get_running_loop().time()
    clients = [Never() for _ in range(3)]
    pacing.look(clients[2], now + 100)
    for number in range(10_000):
        pacing.look(clients[number % 2], now + 300 + number)
    assert (pacing.paced, len(pacing._queue) < 100) == (3, True)
    for each in clients:
        pacing.forget(each)
    assert (pacing.paced, len(pacing._queue)) == (0, 0)


def test_a_line_without_a_socket_is_left_as_it_is() -> None:
    """Such as a serial device."""
    asked: list[str] = []

    class Device(asyncio.Transport):
        def get_extra_info(self, name: str, default: object = None) -> object:
            asked.append(name)
            return default

    set_send_buffer(Device(), 4_096)
    set_unsent(Device(), 0)
    assert asked == ["socket", "socket"]
