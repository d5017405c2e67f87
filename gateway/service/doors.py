"""A catalogue's listeners -> doors: what is behind each place where clients come in, and where that is."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from gateway.catalogue.model import Listener, SerialDevice, Speaks
from gateway.service.clients.resuming import Seat
from gateway.service.devices.device import Device
from gateway.service.devices.wire import Wire

Place: TypeAlias = tuple[str, int, int] | SerialDevice
"""Host, port, and a number where several take a free port; or a device, as it is set."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A listener that is open: where it really listens."""

    listener: Listener
    host: str
    port: int

    @property
    def announcement(self) -> str:
        """The line that says that it is ready."""
        what = f"({self.listener.profile.lower()})"
        if self.listener.device is not None:
            return f"headrace: listening on {self.host}, {wire_of(self.listener).name} {what}"
        return f"headrace: listening on {where(self.host, self.port)} {what}"


def where(host: str, port: int) -> str:
    """A host and port in one word, as in a URL."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


class Door:
    """A listener that is open. A reload may change what is behind it, but not where it is."""

    def __init__(self, listener: Listener) -> None:
        self.listener = listener
        self.servers: list[asyncio.Server] = []
        self.device: Device | None = None
        self.seat = self._seat()

    def change(self, listener: Listener) -> Seat | None:
        """Take a new listener at the same place; the seat that is no more."""
        old, self.listener = self.seat, listener
        if listener.resume == (old is not None):
            return None
        self.seat = self._seat()
        return old

    def _seat(self) -> Seat | None:
        return Seat(lambda: self.listener.resume_for) if self.listener.resume else None


def places(listeners: Sequence[Listener]) -> dict[Place, Listener]:
    """The listeners by host and port; those at free ports are told apart by their number."""
    found: dict[Place, Listener] = {}
    for each in listeners:
        if each.device is not None:
            found[each.device] = each
            continue
        number = sum(place[:2] == (each.host, each.port) for place in found if isinstance(place, tuple))
        found[each.host, each.port, number] = each
    return found


def wire_of(listener: Listener) -> Wire:
    """A listener's serial device as the service opens it. A modem's line is up without its program's DTR."""
    device, modem = listener.device, listener.speaks is Speaks.MODEM
    assert device is not None
    parity, handshake = device.parity.value, device.handshake.value
    kept = (device.path, device.speed, device.bits, parity, device.stop_bits, handshake)
    return Wire(*kept, device.carrier and not modem, device.drop, device.carrier and modem)
