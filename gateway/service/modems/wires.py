"""a serial device's own lines <-> a modem's: carrier (circuit 109), and its program's readiness (108/2).

A cable between a machine and the gateway crosses them (common practice of null modem cables): the gateway's
DTR is the machine's DCD, and the machine's DTR is the gateway's DCD.
"""

import asyncio
import logging
from collections.abc import Callable
from typing import Protocol

from adapters import limits
from gateway.catalogue.model import SerialDevice

_log = logging.getLogger(__name__)


class ModemLines(Protocol):
    """What is needed of an open device."""

    def carrier(self) -> bool:
        """Whether DCD is up. OSError: the device is lost, or has none."""
        ...

    def terminal_ready(self, up: bool) -> None:
        """Raise or drop DTR. OSError likewise."""
        ...


class Wires:
    """One device's. `minds`: the program's readiness is looked at; `shows`: the carrier is shown."""

    def __init__(self, lines: ModemLines, *, minds: bool, shows: bool) -> None:
        self._lines, self._minds, self._shows = lines, minds, shows

    @classmethod
    def of(cls, transport: asyncio.BaseTransport, device: SerialDevice) -> "Wires | None":
        """Those of the device behind a transport; None where it has none."""
        lines: ModemLines | None = transport.get_extra_info("port")
        return None if lines is None else cls(lines, minds=device.carrier, shows=device.drop)

    def show(self, up: bool) -> None:
        """The carrier's line is up, or down, from now on."""
        if self._shows:
            try:
                self._lines.terminal_ready(up)
            except OSError as error:  # whoever reads the device is told of its loss
                _log.info("the carrier cannot be shown: %s", error)

    async def watch(self, changed: Callable[[bool], None]) -> None:
        """Tell each change of the program's readiness, which counts as up before."""
        up = True
        try:
            while self._minds:
                now = self._lines.carrier()
                if now != up:
                    up = now
                    changed(up)
                await asyncio.sleep(limits.DEVICE_CARRIER_SECONDS)
        except OSError as error:
            _log.info("the program's readiness cannot be seen: %s", error)
