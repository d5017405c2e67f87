"""bytes -> the same with bits turned over: a line with a bit-error rate, and a proxy that is such a line.

Errors are independent of one another (a binary symmetric channel, common practice in coding theory). Which
bits they hit depends on the seed only, not on how the bytes were cut. Loopback only.
"""

import asyncio
import math
import random
from types import TracebackType
from typing import Protocol, Self

LOOPBACK = "127.0.0.1"


class Way(Protocol):
    """What happens to bytes one way."""

    def through(self, data: bytes) -> bytes:
        """What arrives of `data`."""
        ...


class Clean:
    """Nothing happens to them, but they are counted."""

    def __init__(self) -> None:
        self.bytes = 0

    def through(self, data: bytes) -> bytes:
        """All of it."""
        self.bytes += len(data)
        return data


class Turned:
    """One bit is turned over, counted from the first byte's lowest."""

    def __init__(self, bit: int) -> None:
        self._bit = bit

    def through(self, data: bytes) -> bytes:
        """All of it, but for that bit."""
        arrived = bytearray(data)
        if 0 <= self._bit < len(data) * 8:
            arrived[self._bit // 8] ^= 1 << self._bit % 8
        self._bit -= len(data) * 8
        return bytes(arrived)


class Inserted:
    """One byte too many: what a line makes of a crackle between two characters."""

    def __init__(self, place: int, byte: int) -> None:
        self._place, self._byte = place, byte

    def through(self, data: bytes) -> bytes:
        """All of it, and that byte before the one at its place."""
        place, self._place = self._place, self._place - len(data)
        if not 0 <= place < len(data):
            return data
        return data[:place] + bytes((self._byte,)) + data[place:]


class Noise:
    """One way of a noisy line. `rate` is the chance of each bit to be turned over; `errors` counts them."""

    def __init__(self, rate: float, seed: str) -> None:
        self._rate = rate
        self._random = random.Random(seed)
        self._next = self._gap()  # bits before the next error
        self.errors = 0
        self.bytes = 0

    def _gap(self) -> int:
        """Geometric: how many bits go well before one goes wrong."""
        if not self._rate:
            return 1 << 60
        return int(math.log(1.0 - self._random.random()) / math.log(1.0 - self._rate))

    def through(self, data: bytes) -> bytes:
        """What arrives of `data`."""
        self.bytes += len(data)
        bits = len(data) * 8
        if self._next >= bits:
            self._next -= bits
            return data
        arrived = bytearray(data)
        while self._next < bits:
            arrived[self._next // 8] ^= 1 << self._next % 8
            self.errors += 1
            self._next += 1 + self._gap()
        self._next -= bits
        return bytes(arrived)


class NoisyLine:
    """An async context manager: inside it, `port` leads to `server` over a line that does so both ways."""

    def __init__(self, server: int, up: Way, down: Way) -> None:
        self.port = 0
        self._up, self._down = up, down
        self._server = server
        self._door: asyncio.Server | None = None
        self._pumps: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> Self:
        self._door = await asyncio.start_server(self._met, LOOPBACK, 0)
        self.port = self._door.sockets[0].getsockname()[1]
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._door is not None
        self._door.close()
        for pump in tuple(self._pumps):
            pump.cancel()
        await asyncio.gather(*self._pumps, return_exceptions=True)

    async def _met(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        far_reader, far_writer = await asyncio.open_connection(LOOPBACK, self._server)
        for way in ((reader, far_writer, self._up), (far_reader, writer, self._down)):
            pump = asyncio.get_running_loop().create_task(_pump(*way))
            self._pumps.add(pump)
            pump.add_done_callback(self._pumps.discard)


async def _pump(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, way: Way) -> None:
    try:
        while data := await reader.read(65_536):
            writer.write(way.through(data))
            await writer.drain()
    except OSError:
        pass
    finally:
        writer.close()
