"""a gateway's counts -> numbers for Prometheus, in its text format, at a port of loopback."""

import asyncio
from collections.abc import Callable, Iterator
from threading import Thread
from typing import Final
from wsgiref.simple_server import WSGIServer

from prometheus_client import CollectorRegistry, start_http_server
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from gateway.service.streams.tally import Tally, Way

_LOOPBACK: Final = "127.0.0.1"


class _Counts(Collector):
    """Read in another thread than they change in, which does whole numbers no harm."""

    def __init__(self, tally: Tally, clients: Callable[[], int]) -> None:
        self._tally, self._clients = tally, clients

    def collect(self) -> Iterator[Metric]:
        """Every count there is."""
        tally = self._tally
        yield GaugeMetricFamily("headrace_clients", "Clients that are connected", self._clients())
        begun = CounterMetricFamily("headrace_calls", "Calls that came about", labels=["way"])
        for way in Way:
            begun.add_metric([way.value], tally.begun[way])
        yield begun
        yield GaugeMetricFamily("headrace_calls_open", "Calls that go on now", tally.open)
        carried = CounterMetricFamily("headrace_call_bytes", "Bytes of calls, at the far end", labels=["way"])
        carried.add_metric(["to_far"], tally.sent)
        carried.add_metric(["from_far"], tally.heard)
        yield carried


class Metrics:
    """The port. Nobody but this computer reaches it."""

    def __init__(self, tally: Tally, clients: Callable[[], int]) -> None:
        self._registry = CollectorRegistry()
        self._registry.register(_Counts(tally, clients))
        self._running: tuple[WSGIServer, Thread] | None = None

    def start(self, port: int) -> None:
        """Answer from now on. OSError where the port cannot be had."""
        self._running = start_http_server(port, _LOOPBACK, self._registry)

    async def stop(self) -> None:
        """Answer no more."""
        if self._running is not None:
            server, thread = self._running
            self._running = None
            await asyncio.to_thread(server.shutdown)
            server.server_close()
            await asyncio.to_thread(thread.join)
