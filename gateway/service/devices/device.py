"""A `Wire` and a maker of protocols -> one device for the gateway's life, also where it comes and goes.

A session begins when the line comes up: with the device, or with its carrier where that is watched. Where a
session ends by itself (BYE, idle) the device stays open, and the next one begins with the next byte that
comes: so an idle machine is told goodbye once, and a full gateway cannot answer itself.
"""

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Protocol

from adapters import limits
from gateway.service.devices.port import fault, open_port
from gateway.service.devices.transport import DeviceTransport, Open
from gateway.service.devices.wire import Wire

_log = logging.getLogger(__name__)


class Opened(Open, Protocol):
    """What a device needs of a port."""

    missing: tuple[str, ...]

    def carrier(self) -> bool:
        """Whether DCD is up."""
        ...

    def terminal_ready(self, up: bool) -> None:
        """Raise or drop DTR."""
        ...

    def discard(self) -> None:
        """Forget what has come."""
        ...

    def queued(self) -> int:
        """How many bytes the system has taken and not sent."""
        ...

    def close(self) -> None:
        """Let it go at once."""
        ...


class Device:
    """One device. `make` gives a protocol for each session on it; `opening` is what opens it."""

    def __init__(
        self,
        wire: Wire,
        make: Callable[[], asyncio.BaseProtocol],
        opening: Callable[[Wire], Opened] = open_port,
    ) -> None:
        self.wire = wire
        self._make = make
        self._opening = opening
        self._task: asyncio.Task[None] | None = None
        self._line: DeviceTransport | None = None
        self._free = asyncio.Event()  # of a session
        self._free.set()
        self._shut = asyncio.Event()
        self._told: set[str] = set()  # why it is gone, since it was last there
        self._lacking: tuple[str, ...] = ()  # what it does not take of its settings, as told last

    @property
    def up(self) -> bool:
        """Whether a session is on it."""
        return self._line is not None

    # Life

    def start(self) -> None:
        """Begin to look for it; never fails."""
        self._task = asyncio.get_running_loop().create_task(self._live())
        self._task.add_done_callback(self._ended)

    def _ended(self, task: asyncio.Task[None]) -> None:
        """Where that ended by a fault of our own, nobody would look for the device any more: begin anew."""
        if not task.cancelled() and task.exception() is not None:
            _log.error("%s failed", self.wire.path, exc_info=task.exception())
            if not self._shut.is_set():
                task.get_loop().call_later(limits.DEVICE_RETRY_SECONDS, self.start)

    def shut(self) -> None:
        """No further session begins; one that is on it goes on."""
        if self._shut.is_set():  # the task is on its way out, and may be letting the last bytes leave
            return
        self._shut.set()
        if self._line is None and self._task is not None:
            self._task.cancel()

    async def stop(self, patience: float = limits.STOP_MARGIN_SECONDS) -> None:
        """Shut it, give the session on it so many seconds to end, then let the device go."""
        self.shut()
        if self._task is None:
            return
        with suppress(TimeoutError):
            async with asyncio.timeout(patience):
                await self._free.wait()
        if self._line is not None:
            self._line.abort()
        await asyncio.wait({self._task})

    async def _live(self) -> None:
        while not self._shut.is_set():
            try:
                port = self._opening(self.wire)
            except OSError as error:
                self._away(error)
            else:
                try:
                    await self._hold(port)
                finally:
                    port.close()
            if not self._shut.is_set():
                await asyncio.sleep(limits.DEVICE_RETRY_SECONDS)

    async def _hold(self, port: Opened) -> None:
        """Serve an open device until it is lost or let go."""
        back = asyncio.get_running_loop().call_later(limits.DEVICE_STEADY_SECONDS, self._back)
        self._complain(port.missing)
        try:
            await self._serve(port)
            await self._drain(port)
        except asyncio.CancelledError:
            await self._drain(port)
            raise
        except OSError as error:
            self._away(fault(error, self.wire.path))
        except Exception:  # noqa: BLE001 one device's fault must not reach the others, or end it for good
            _log.exception("%s failed", self.wire.path)
        finally:
            back.cancel()

    async def _serve(self, port: Opened) -> None:
        """One session after the other. OSError: the device is lost."""
        loop = asyncio.get_running_loop()
        first = b""
        while True:
            if self.wire.carrier and not first:
                await self._until_carrier(port, up=True)
                port.discard()  # a modem's own words, such as those about a call
            began = loop.time()
            await self._session(port, first)
            if self._shut.is_set():
                return
            if self.wire.drop:
                await self._hang_up(port)
            await asyncio.sleep(max(0.0, began + limits.DEVICE_REST_SECONDS - loop.time()))
            first = await self._called(port)

    async def _session(self, port: Opened, first: bytes) -> None:
        """Until it ends by itself or the carrier falls. OSError: the device is lost."""
        loop = asyncio.get_running_loop()
        over: asyncio.Future[OSError | None] = loop.create_future()
        line = DeviceTransport(port, self.wire.path, self._make(), over.set_result, first)
        self._line = line
        self._free.clear()
        try:
            if self.wire.carrier:
                fall = loop.create_task(self._until_carrier(port, up=False))
                both: set[asyncio.Future[Any]] = {over, fall}
                await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
                line.abort()
                if fall.done():
                    fall.result()
                fall.cancel()
            error = await over
        finally:
            line.abort()
            self._line = None
            self._free.set()
        if error is not None:
            raise error

    async def _until_carrier(self, port: Opened, *, up: bool) -> None:
        """Until DCD is up, or down. It is looked at: waiting for it (TIOCMIWAIT) cannot be called off."""
        while port.carrier() != up:  # noqa: ASYNC110 nothing tells of it
            await asyncio.sleep(limits.DEVICE_CARRIER_SECONDS)

    async def _called(self, port: Opened) -> bytes:
        """The first bytes of a further session; none where the carrier fell."""
        seconds = limits.DEVICE_CARRIER_SECONDS if self.wire.carrier else None
        while not self.wire.carrier or port.carrier():
            data = port.read() if await _readable(port.descriptor, seconds) else b""
            if data:
                return data
        return b""

    async def _hang_up(self, port: Opened) -> None:
        """Drop DTR for a moment, once the last bytes have left."""
        await self._drain(port)
        port.terminal_ready(False)
        try:
            await asyncio.sleep(limits.DEVICE_DROP_SECONDS)
        finally:
            port.terminal_ready(True)

    async def _drain(self, port: Opened) -> None:
        """Let the last bytes leave, unless the line is held. tcdrain would hold the gateway with it."""
        until = asyncio.get_running_loop().time() + limits.DEVICE_DRAIN_SECONDS
        while port.queued() and asyncio.get_running_loop().time() < until:  # noqa: ASYNC110 nor of this
            await asyncio.sleep(limits.DEVICE_LOOK_SECONDS)

    # What the log tells

    def _back(self) -> None:
        if self._told:
            _log.warning("%s is back: %s", self.wire.path, self.wire.name)
            self._told.clear()
        else:
            _log.info("%s is open: %s", self.wire.path, self.wire.name)

    def _away(self, error: OSError) -> None:
        sentence = error.strerror or "it cannot be had"
        if sentence not in self._told:
            self._told.add(sentence)
            every = limits.DEVICE_RETRY_SECONDS
            _log.warning("%s: %s; tried again every %g s", self.wire.path, sentence, every)

    def _complain(self, missing: tuple[str, ...]) -> None:
        if missing and missing != self._lacking:
            _log.warning("%s does not take %s", self.wire.path, ", ".join(missing))
        self._lacking = missing


async def _readable(descriptor: int, seconds: float | None) -> bool:
    """Whether there is something to read, or an end to be noticed, within that time; None: however long."""
    loop = asyncio.get_running_loop()
    came = asyncio.Event()
    loop.add_reader(descriptor, came.set)
    try:
        async with asyncio.timeout(seconds) as silence:
            await came.wait()
    except TimeoutError:
        if not silence.expired():  # asked again, it would be told the same at once
            raise
        return False
    finally:
        loop.remove_reader(descriptor)
    return True
