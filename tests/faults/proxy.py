"""A TCP proxy that breaks things on purpose: FaultProxy(server, faults) between a client and a real server.

It knows enough of FTP to lead data connections through itself (RFC 959 section 4.1.2, PASV; RFC 2428 section
3, EPSV), so that they can be broken too; for anything else it passes bytes on. Loopback only.
"""

import asyncio
import re
import socket
import struct
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Final, Self

from tests.faults.script import Channel, Cut, Fault, Hang, Lane, Plan, Refuse, Send, Way

LOOPBACK: Final = "127.0.0.1"
_CHUNK: Final = 65_536
_FLUSH_SECONDS: Final = 0.2  # for what was passed on and not read yet, once a connection is to end
_EPSV: Final = re.compile(rb"229 .*\(\|\|\|(\d+)\|\)")
_PASV: Final = re.compile(rb"227 .*?(\d+),(\d+),(\d+),(\d+),(\d+),(\d+)")


@dataclass(frozen=True, slots=True)
class Passed:
    """Bytes that came to the proxy, before any fault."""

    way: Way
    channel: Channel
    connection: int  # from 0, in the order they were dialled
    data: bytes


class FaultProxy:
    """An async context manager. Inside it, `port` is where to dial instead of `server`, and faults strike.

    `ftp`: lead FTP's data connections through here as well, as long as the control channel is not encrypted.
    `seen` is what came by; `plan.struck` are the faults that struck.
    """

    def __init__(self, server: int, faults: Sequence[Fault] = (), *, ftp: bool = False) -> None:
        self.plan = Plan(faults)
        self.port = 0
        self.seen: list[Passed] = []
        self.dialled = 0
        self._server, self._ftp = server, ftp
        self._doors: list[asyncio.Server] = []
        self._tasks: set[asyncio.Task[None]] = set()
        self._writers: set[asyncio.StreamWriter] = set()

    async def __aenter__(self) -> Self:
        self.port = await self._open(self._server, Channel.CONTROL)
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close_doors()
        for task in tuple(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for writer in tuple(self._writers):  # of connections whose task had not begun yet
            await self._close(writer)

    def close_doors(self) -> None:
        """Nobody can connect any more."""
        for door in self._doors:
            door.close()
        self._doors.clear()

    def sent(self, way: Way = Way.UP, channel: Channel = Channel.CONTROL) -> bytes:
        """All that came by in one way, one connection after the other."""
        chosen = [each for each in self.seen if (each.way, each.channel) == (way, channel)]
        return b"".join(each.data for each in sorted(chosen, key=lambda each: each.connection))

    async def _open(self, server: int, channel: Channel) -> int:
        """A port that leads to the server's."""
        if self.plan.refuses(channel):
            self.plan.struck.append(Refuse(channel))
            with socket.socket() as unused:
                unused.bind((LOOPBACK, 0))
                return int(unused.getsockname()[1])

        def met(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            self._writers.add(writer)
            task = asyncio.create_task(self._relay(reader, writer, server, channel))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

        door = await asyncio.start_server(met, LOOPBACK, 0)
        self._doors.append(door)
        return int(door.sockets[0].getsockname()[1])

    async def _relay(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, server: int, channel: Channel
    ) -> None:
        number, self.dialled = self.dialled, self.dialled + 1
        try:
            far_reader, far_writer = await asyncio.open_connection(LOOPBACK, server)
        except OSError:
            await self._close(writer)
            return
        self._writers.add(far_writer)
        pumps = [
            asyncio.create_task(self._pump(reader, far_writer, Way.UP, channel, number)),
            asyncio.create_task(self._pump(far_reader, writer, Way.DOWN, channel, number)),
        ]
        try:
            await asyncio.gather(*pumps)
        except _Broken as broken:
            self._break(broken.cut, (writer, far_writer))
        except OSError:
            pass
        finally:
            for pump in pumps:
                pump.cancel()
            await asyncio.gather(*pumps, return_exceptions=True)
            await self._close(writer)
            await self._close(far_writer)

    def _break(self, cut: Cut, own: Sequence[asyncio.StreamWriter]) -> None:
        broken = tuple(self._writers) if cut.dead else own
        if cut.dead:
            self.close_doors()
        for writer in broken:
            if cut.reset:
                with suppress(OSError):  # RFC 9293 section 3.6: what SO_LINGER of 0 makes of a close
                    sock = writer.get_extra_info("socket")
                    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                writer.transport.abort()
            else:
                writer.close()  # what was passed on before the cut still gets there

    async def _close(self, writer: asyncio.StreamWriter) -> None:
        self._writers.discard(writer)
        writer.close()
        with suppress(OSError, TimeoutError):
            async with asyncio.timeout(_FLUSH_SECONDS):
                await writer.wait_closed()
                return
        writer.transport.abort()
        await asyncio.sleep(0)

    async def _pump(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        way: Way,
        channel: Channel,
        number: int,
    ) -> None:
        lane, rate = Lane(self.plan, way, channel), self.plan.rate(way, channel)
        rewrites = self._ftp and channel is Channel.CONTROL and way is Way.DOWN
        while True:
            data = await (reader.readline() if rewrites else reader.read(_CHUNK))
            if data:
                self.seen.append(Passed(way, channel, number, data))
            if rewrites:
                rewrites = not data.startswith(b"234")  # RFC 4217 section 4: TLS begins after this line
                data = await self._led_through(data)
            for step in lane.feed(data) if data else lane.end():
                match step:
                    case Send():
                        await _send(writer, step.data, rate)
                    case Hang():
                        await asyncio.get_running_loop().create_future()  # until the connection is cut
                    case Cut():
                        raise _Broken(step)
            if not data:
                if writer.can_write_eof():
                    writer.write_eof()
                return

    async def _led_through(self, line: bytes) -> bytes:
        """A line of an FTP reply, with a port of this proxy in it where it names one of the server's."""
        if found := _EPSV.match(line):
            port = await self._open(int(found[1]), Channel.DATA)
            return line[: found.start(1)] + b"%d" % port + line[found.end(1) :]
        if found := _PASV.match(line):
            high, low = int(found[5]), int(found[6])
            port = await self._open(high * 256 + low, Channel.DATA)
            host = (self.plan.host or LOOPBACK).replace(".", ",").encode()
            return line[: found.start(1)] + host + b",%d,%d" % divmod(port, 256) + line[found.end(6) :]
        return line


class _Broken(Exception):
    """A cut has struck."""

    def __init__(self, cut: Cut) -> None:
        super().__init__()
        self.cut = cut


async def _send(writer: asyncio.StreamWriter, data: bytes, rate: float | None) -> None:
    if rate is None:
        writer.write(data)
        await writer.drain()
        return
    step = max(1, int(rate / 100))
    for start in range(0, len(data), step):
        writer.write(data[start : start + step])
        await writer.drain()
        await asyncio.sleep(step / rate)
