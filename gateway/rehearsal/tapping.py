"""A client's connection -> the same, with a trace of what comes and goes."""

import asyncio
from typing import Any

from gateway.rehearsal.script.steps import Close, Closed, Reset
from gateway.rehearsal.tracing import Trace


class Tapped(asyncio.Protocol):
    """Between asyncio and `inner`: passes everything on, and tells `trace`."""

    def __init__(self, inner: asyncio.Protocol, trace: Trace, listener: int) -> None:
        self._inner = inner
        self._trace = trace
        self._listener = listener
        self._number = 0
        self._wire: _Wire | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """A client has come."""
        assert isinstance(transport, asyncio.Transport)
        self._number = self._trace.begin(self._listener)
        self._wire = _Wire(transport, self._trace, self._number)
        self._inner.connection_made(self._wire)

    def data_received(self, data: bytes) -> None:
        """Bytes came."""
        self._trace.said(self._number, data)
        self._inner.data_received(data)

    def eof_received(self) -> bool | None:
        """The client sends no more."""
        self._trace.finished(self._number)
        return self._inner.eof_received()

    def connection_lost(self, exc: Exception | None) -> None:
        """The line is gone."""
        ended = self._wire is not None and self._wire.ended
        self._trace.over(self._number, Closed() if ended else Close() if exc is None else Reset())
        self._inner.connection_lost(exc)

    def pause_writing(self) -> None:
        """The client reads more slowly than is written."""
        self._inner.pause_writing()

    def resume_writing(self) -> None:
        """The client has read."""
        self._inner.resume_writing()


class _Wire(asyncio.Transport):
    """`transport`, with a trace of what is written to it. `ended`: the gateway has hung up."""

    def __init__(self, transport: asyncio.Transport, trace: Trace, number: int) -> None:
        super().__init__()
        self._transport = transport
        self._trace = trace
        self._number = number
        self.ended = False

    def write(self, data: bytes | bytearray | memoryview) -> None:
        if not self._transport.is_closing():
            self._trace.heard(self._number, bytes(data))
        self._transport.write(data)

    def write_eof(self) -> None:
        self.ended = True
        self._transport.write_eof()

    def close(self) -> None:
        self.ended = True
        self._transport.close()

    def abort(self) -> None:
        self.ended = True
        self._transport.abort()

    def is_closing(self) -> bool:
        return self._transport.is_closing()

    def pause_reading(self) -> None:
        self._transport.pause_reading()

    def resume_reading(self) -> None:
        self._transport.resume_reading()

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        self._transport.set_write_buffer_limits(high, low)

    def get_write_buffer_size(self) -> int:
        return self._transport.get_write_buffer_size()

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        return self._transport.get_extra_info(name, default)
