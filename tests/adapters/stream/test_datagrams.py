"""UDP: each message by itself, and what the network says when it does not arrive."""

import asyncio
import errno
import socket
from collections.abc import Iterator
from ipaddress import ip_address
from typing import Any, ClassVar

import pytest

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, HeadraceError, TooLarge
from adapters.stream.datagrams import Datagrams, open_datagrams
from tests.adapters.ftp_servers import free_ports
from tests.adapters.stream.servers import LOOPBACK, resident


@pytest.fixture
def far() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bound:
        bound.bind((LOOPBACK, 0))
        bound.settimeout(5)
        yield bound


async def opened(far: socket.socket) -> tuple[Datagrams, tuple[str, int]]:
    """A line to it, and where that line is heard."""
    line = await open_datagrams(ip_address(LOOPBACK), far.getsockname()[1])
    await line.send(b"hello")
    data, address = far.recvfrom(100)
    assert data == b"hello"
    return line, address


@pytest.mark.parametrize("size", [0, 1, 1_472, limits.DATAGRAM_BYTES])
async def test_a_message_goes_and_comes_whole(far: socket.socket, size: int) -> None:
    line, address = await opened(far)
    await line.send(b"x" * size)
    assert far.recv(70_000) == b"x" * size
    far.sendto(b"y" * size, address)
    far.sendto(b"z", address)
    assert await line.receive() == b"y" * size
    assert await line.receive() == b"z"
    await line.aclose()


async def test_the_longest_message_is_what_ipv4_takes(far: socket.socket) -> None:
    line, _ = await opened(far)
    with pytest.raises(OSError, match="too long"):
        line._socket.send(b"x" * (limits.DATAGRAM_BYTES + 1))  # the kernel's own opinion
    with pytest.raises(TooLarge):
        await line.send(b"x" * (limits.DATAGRAM_BYTES + 1))
    await line.send(b"still open")
    assert far.recv(100) == b"still open"
    line.abort()


async def test_what_the_system_calls_too_long(far: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "DATAGRAM_BYTES", 70_000)
    line, _ = await opened(far)
    with pytest.raises(TooLarge):
        await line.send(b"x" * 66_000)
    line.abort()


async def test_only_the_far_server_is_heard(far: socket.socket) -> None:
    line, address = await opened(far)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
        stranger.sendto(b"psst", address)
    far.sendto(b"from here", address)
    assert await line.receive() == b"from here"
    line.abort()


@pytest.mark.parametrize("way", ["receive", "send"])
async def test_nobody_there(way: str) -> None:
    """ICMP port unreachable (RFC 1122 section 4.1.3.3): opening says nothing yet, the first use does."""
    line = await open_datagrams(ip_address(LOOPBACK), free_ports(1)[0])
    await line.send(b"hello?")
    await asyncio.sleep(0.02)
    with pytest.raises(CannotConnect, match="The far server refuses to connect"):
        async with asyncio.timeout(5):
            await (line.receive() if way == "receive" else line.send(b"hello?"))
    line.abort()


async def test_nobody_there_any_more(far: socket.socket) -> None:
    line, address = await opened(far)
    far.sendto(b"bye", address)
    assert await line.receive() == b"bye"
    far.close()
    await line.send(b"hello?")
    with pytest.raises(BrokenOff):
        async with asyncio.timeout(5):
            await line.receive()
    line.abort()


async def test_a_flood_that_nobody_receives_is_bounded_and_the_oldest_is_kept(far: socket.socket) -> None:
    line, address = await opened(far)
    before = resident()
    for number in range(20_000):
        far.sendto(b"%06d" % number * 100, address)
    assert resident() - before < 1 << 20
    kept: list[int] = []
    while True:
        try:
            async with asyncio.timeout(0.1):
                kept.append(int((await line.receive())[:6]))
        except TimeoutError:
            break
    assert kept == list(range(len(kept)))
    assert len(kept) > 10
    assert len(kept) * 600 <= limits.DATAGRAMS_BYTES
    far.sendto(b"afterwards", address)
    assert await line.receive() == b"afterwards"
    line.abort()


async def test_it_is_opened_to_ipv6_too() -> None:
    with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as far:
        try:
            far.bind(("::1", 0))
        except OSError:
            return  # this machine has none
        line = await open_datagrams(ip_address("::1"), far.getsockname()[1])
        await line.send(b"six")
        assert far.recv(10) == b"six"
        line.abort()


async def test_both_ways_at_once_and_then_hung_up(far: socket.socket) -> None:
    line, address = await opened(far)
    waiting = asyncio.create_task(line.receive())
    await asyncio.sleep(0.01)
    await line.send(b"x")
    far.sendto(b"y", address)
    assert await waiting == b"y"
    waiting = asyncio.create_task(line.receive())
    await asyncio.sleep(0.01)
    await line.aclose()
    doing: list[HeadraceError] = []
    for each in (waiting, line.receive(), line.send(b"x")):
        with pytest.raises(BrokenOff) as caught:
            await each
        doing.append(caught.value)
    assert len(doing) == 3
    line.abort()


class Reluctant(socket.socket):
    """Raises each of `faults` once instead of sending."""

    faults: ClassVar[list[OSError]] = []

    def send(self, data: Any, flags: int = 0, /) -> int:
        if self.faults:
            raise self.faults.pop(0)
        return super().send(data, flags)


async def test_a_system_without_room_is_waited_for_and_other_faults_are_told(
    far: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(socket, "socket", Reluctant)
    line = await open_datagrams(ip_address(LOOPBACK), far.getsockname()[1])
    monkeypatch.setattr(Reluctant, "faults", [BlockingIOError(), BlockingIOError()])
    await line.send(b"late")
    assert far.recv(100) == b"late"
    monkeypatch.setattr(Reluctant, "faults", [OSError(errno.EHOSTUNREACH, "no way there")])
    with pytest.raises(CannotConnect):
        await line.send(b"never")
    await line.aclose()


async def test_hung_up_as_a_message_comes(far: socket.socket) -> None:
    line, _ = await opened(far)
    receiving = asyncio.create_task(line.receive())
    await asyncio.sleep(0)
    for waiting in line._waiting:
        waiting.set_result(None)  # what the loop does when a message comes
    line.abort()
    with pytest.raises(BrokenOff):
        await receiving


async def test_a_receive_that_is_cancelled_as_a_message_comes_leaves_it_there(far: socket.socket) -> None:
    line, address = await opened(far)
    loop = asyncio.get_running_loop()
    astray: list[dict[str, Any]] = []  # what asyncio's callbacks raised
    loop.set_exception_handler(lambda _, context: astray.append(context))
    receiving = asyncio.create_task(line.receive())
    await asyncio.sleep(0)
    far.sendto(b"just now", address)
    loop.call_soon(receiving.cancel)  # before the loop looks at the socket, in the same round
    with pytest.raises(asyncio.CancelledError):
        await receiving
    assert await line.receive() == b"just now"
    assert astray == []
    line.abort()


async def test_a_line_that_cannot_be_opened_leaves_nothing_behind() -> None:
    """A socket that is not closed would be a ResourceWarning, which fails a test here."""
    with pytest.raises(OverflowError):
        await open_datagrams(ip_address(LOOPBACK), 70_000)
