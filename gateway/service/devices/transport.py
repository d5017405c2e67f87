"""An open device and a protocol -> bytes both ways, as asyncio's own transports do it over a socket.

A device has no end of its own that one side could send, so there is no half-close. The device stays open
when the transport is closed: it belongs to whoever opened it, and the next transport may follow at once.
"""

import asyncio
import io
import os
from collections.abc import Callable, Iterable
from typing import Any, Final, Protocol

from adapters import limits

_HIGH: Final = (
    64 * 1024
)  # unsent bytes at which a protocol is asked to wait unless it says otherwise: asyncio's own


class Open(Protocol):
    """What a transport needs of a port."""

    descriptor: int

    def read(self) -> bytes:
        """What has come: none, perhaps. OSError: the device is lost."""
        ...

    def room(self) -> int:
        """How many bytes it may be given now."""
        ...


class DeviceTransport(asyncio.Transport):
    """`gone` is told after the protocol that the line is over: with an OSError where the device is lost.

    `first`: bytes that were read before there was a protocol for them.
    """

    def __init__(
        self,
        port: Open,
        path: str,
        protocol: asyncio.BaseProtocol,
        gone: Callable[[OSError | None], None],
        first: bytes = b"",
    ) -> None:
        super().__init__({"device": path, "port": port})
        self._port = port
        self._descriptor = port.descriptor
        self._protocol = protocol
        self._gone = gone
        self._loop = asyncio.get_running_loop()
        self._buffer = bytearray()
        self._high, self._low = _HIGH, _HIGH // 4
        self._asked_to_wait = False
        self._begun = False
        self._closing = False
        self._over = False
        self._paused = False
        self._reads = False  # whether the loop watches for bytes
        self._writes = False  # whether the loop watches for room
        self._look: asyncio.TimerHandle | None = None  # for room that the loop cannot watch for
        self._loop.call_soon(self._begin, first)

    def _begin(self, first: bytes) -> None:
        if self._over:
            return
        self._begun = True
        self._tell(self._protocol.connection_made, self)
        if first and not self._closing:
            self._received(first)
        self._watch()

    # What protocols ask

    def get_protocol(self) -> asyncio.BaseProtocol:
        """Who is told what happens."""
        return self._protocol

    def set_protocol(self, protocol: asyncio.BaseProtocol) -> None:
        """Tell somebody else from now on."""
        self._protocol = protocol

    def is_closing(self) -> bool:
        """Whether nothing more is read."""
        return self._closing

    def is_reading(self) -> bool:
        """Whether what comes is read."""
        return not self._paused and not self._closing

    def pause_reading(self) -> None:
        """Leave what comes to the system, and to the handshake."""
        self._paused = True
        self._watch()

    def resume_reading(self) -> None:
        """Read again."""
        self._paused = False
        self._watch()

    def can_write_eof(self) -> bool:
        """No: a device has none."""
        return False

    def write_eof(self) -> None:
        """Always io.UnsupportedOperation, which is an OSError: close instead."""
        raise io.UnsupportedOperation("a serial device has no half-close")

    def get_write_buffer_size(self) -> int:
        """Bytes that the system has not taken yet."""
        return len(self._buffer)

    def get_write_buffer_limits(self) -> tuple[int, int]:
        """Where the protocol may go on, and where it is asked to wait."""
        return self._low, self._high

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        """As asyncio's transports take them."""
        if high is None:
            high = _HIGH if low is None else 4 * low
        if low is None:
            low = high // 4
        if not high >= low >= 0:
            raise ValueError(f"high ({high}) must be >= low ({low}) must be >= 0")
        self._high, self._low = high, low
        self._weigh()

    def write(self, data: bytes | bytearray | memoryview) -> None:
        """Send, when there is room."""
        if self._closing:
            return
        idle = not self._buffer
        self._buffer += data
        if idle:
            self._send()
        self._weigh()

    def writelines(self, list_of_data: Iterable[Any]) -> None:
        """Send them all."""
        self.write(b"".join(list_of_data))

    def close(self) -> None:
        """Read nothing more; the line is over once all has been taken."""
        if not self._closing:
            self._closing = True
            self._watch()
            if not self._buffer:
                self._end(None)

    def abort(self) -> None:
        """The line is over now; what has not been taken is dropped."""
        self._end(None)

    # What the loop and the timer call

    def _readable(self) -> None:
        try:
            data = self._port.read()
        except OSError as error:
            self._end(error)
            return
        if data:
            self._received(data)

    def _received(self, data: bytes) -> None:
        assert isinstance(self._protocol, asyncio.Protocol)
        self._tell(self._protocol.data_received, data)

    def _send(self) -> None:
        """Give the system what it has room for, and see to it that the rest follows."""
        self._look = None
        room = self._port.room()
        try:
            taken = os.write(self._descriptor, self._buffer[:room]) if room else 0
        except (BlockingIOError, InterruptedError):
            taken = 0
        except OSError as error:
            self._end(error)
            return
        del self._buffer[:taken]
        if self._buffer and self._port.room():
            self._loop.add_writer(self._descriptor, self._send)
            self._writes = True
        else:
            self._unwatch_room()
            if self._buffer:
                self._look = self._loop.call_later(limits.DEVICE_LOOK_SECONDS, self._send)
        self._ease()

    def _ease(self) -> None:
        if self._asked_to_wait and len(self._buffer) <= self._low:
            self._asked_to_wait = False
            self._tell(self._protocol.resume_writing)
        if self._closing and not self._buffer:
            self._end(None)

    def _weigh(self) -> None:
        if len(self._buffer) > self._high and not self._asked_to_wait and not self._over:
            self._asked_to_wait = True
            self._tell(self._protocol.pause_writing)

    def _watch(self) -> None:
        """Have the loop watch for bytes, or not, as things are."""
        wanted = not (self._paused or self._closing or self._over)
        if wanted and not self._reads:
            self._loop.add_reader(self._descriptor, self._readable)
        elif self._reads and not wanted:
            self._loop.remove_reader(self._descriptor)
        self._reads = wanted

    def _unwatch_room(self) -> None:
        if self._writes:
            self._loop.remove_writer(self._descriptor)
            self._writes = False

    def _tell(self, what: Callable[..., object], *given: object) -> None:
        """A protocol that fails ends its line, and nothing else."""
        try:
            what(*given)
        except Exception as error:  # noqa: BLE001 it is anybody's
            told = {"message": "a protocol failed", "exception": error, "transport": self}
            self._loop.call_exception_handler({**told, "protocol": self._protocol})
            self.abort()

    def _end(self, error: OSError | None) -> None:
        if self._over:
            return
        self._over = self._closing = True
        self._buffer.clear()
        self._watch()
        self._unwatch_room()
        if self._look is not None:
            self._look.cancel()
        self._loop.call_soon(self._lost, error)

    def _lost(self, error: OSError | None) -> None:
        if self._begun:
            self._tell(self._protocol.connection_lost, error)
        self._gone(error)
