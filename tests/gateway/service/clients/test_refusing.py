"""A line on which there is no room: it is told, what it sends is read, and it ends whatever happens."""

import asyncio
import errno
import socket
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from adapters import limits
from gateway.service.clients.refusing import Refused

FAREWELL = b"421 00001 040 ..\r\nThe gateway is full\r\n"


class Ends:
    """The two ends of a line over loopback, the near one refused, and who has gone."""

    def __init__(self, near: socket.socket, far: socket.socket) -> None:
        self.near, self.far = near, far
        self.gone: list[Refused] = []
        self.refused = Refused(near, FAREWELL, self.gone.append)
        self.refused.tell()

    async def over(self) -> None:
        async with asyncio.timeout(5):
            while not self.gone:  # noqa: ASYNC110 nothing tells of it
                await asyncio.sleep(0.005)


@asynccontextmanager
async def ends(*, reset: bool = False) -> AsyncIterator[Ends]:
    with (
        socket.create_server(("127.0.0.1", 0)) as door,
        socket.create_connection(door.getsockname(), timeout=5) as far,
    ):
        near, _ = door.accept()
        if reset:
            hang_up_hard(far)
        made = Ends(near, far)
        yield made
        await made.over()
        assert near.fileno() == -1


def hang_up_hard(line: socket.socket) -> None:
    """TCP resets the line (RFC 9293, section 3.5.3), which takes what was not read yet with it."""
    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    line.close()


async def told(line: socket.socket) -> bytes:
    found = b""
    while more := await asyncio.to_thread(line.recv, 1_000):
        found += more
    return found


async def test_it_is_told_before_the_loop_turns() -> None:
    async with ends() as made:
        assert made.far.recv(1_000) == FAREWELL  # without an await since it was refused
        assert made.far.recv(1_000) == b""
        made.far.close()


async def test_what_it_says_meanwhile_takes_nothing_of_it_away() -> None:
    async with ends() as made:
        made.far.sendall(bytes(200_000))
        await asyncio.sleep(0.05)
        made.far.sendall(bytes(100_000))
        assert await told(made.far) == FAREWELL
        assert not made.gone  # it may still talk
        made.far.shutdown(socket.SHUT_WR)
        await made.over()


async def test_one_that_never_hangs_up_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "LINGER_SECONDS", 0.1)
    async with ends() as made:
        await asyncio.sleep(0.02)
        assert not made.gone
        await made.over()


@pytest.mark.parametrize("first", [True, False])
async def test_one_that_resets_the_line(first: bool) -> None:
    """Before it is told, where that fails, and after."""
    async with ends(reset=first) as made:
        if not first:
            hang_up_hard(made.far)
        await made.over()
        assert made.gone == [made.refused]


@pytest.mark.parametrize("call", ["setblocking", "send", "shutdown", "recv", "add_reader"])
async def test_one_at_which_a_call_fails(call: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It ends, and whoever let it in hears of it as always."""

    def fail(*_: object) -> None:
        raise OSError(errno.ENOMEM, "made to fail")

    owner = asyncio.get_running_loop() if call == "add_reader" else socket.socket
    near, far = socket.socketpair()
    with near, far:
        far.send(b"NOOP\r")
        gone: list[Refused] = []
        with monkeypatch.context() as patched:
            patched.setattr(owner, call, fail)
            refused = Refused(near, FAREWELL, gone.append)
            refused.tell()
            await asyncio.sleep(0.02)
        refused.abort()  # by whoever has no time for it, and has not heard yet
        assert gone == [refused]
        assert near.fileno() == -1


async def test_one_that_was_said_to_have_something_and_has_not() -> None:
    """As select(2) warns of, under BUGS: it is looked at again when there is more."""
    async with ends() as made:
        made.refused._read()
        assert not made.gone
        made.far.close()


async def test_nothing_is_left_in_the_loop() -> None:
    async with ends() as made:
        descriptor = made.near.fileno()
        made.refused.abort()
        assert made.gone == [made.refused]
        assert not asyncio.get_running_loop().remove_reader(descriptor)
        assert made.refused._timer.cancelled()
