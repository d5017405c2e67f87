"""Carrier and readiness over a serial device's own lines (V.24 circuits 109 and 108/2, from memory)."""

import asyncio
import os
from pathlib import Path

import pytest

from adapters import limits
from gateway.catalogue.model import Catalogue, Listener, Place, SerialDevice, Speaks
from gateway.service.callers.ports import CallPorts
from gateway.service.devices.device import Device
from gateway.service.devices.port import Port
from gateway.service.devices.wire import Wire
from gateway.service.doors import wire_of
from gateway.service.modems.line import ModemLine
from gateway.service.modems.wires import Wires
from gateway.service.server import Server
from gateway.service.streams.calls import Call
from gateway.service.streams.tally import Tally
from gateway.session.wishes import Called, Granted, Provenance, Wish
from tests.gateway.service.devices.lines import Machine, until


class Lines:
    """A device's: what was shown, and what is to be seen."""

    def __init__(self) -> None:
        self.shown: list[bool] = []
        self.up = True
        self.lost = False

    def carrier(self) -> bool:
        if self.lost:
            raise OSError("it is not there")
        return self.up

    def terminal_ready(self, up: bool) -> None:
        if self.lost:
            raise OSError("it is not there")
        self.shown.append(up)


class Transport(asyncio.BaseTransport):
    """What stands between."""


def test_a_device_that_shows_carrier() -> None:
    lines = Lines()
    device = SerialDevice("/dev/none", drop=True)
    wires = Wires.of(Transport({"port": lines}), device)
    assert wires is not None
    wires.show(up=False)
    wires.show(up=True)
    assert lines.shown == [False, True]
    lines.lost = True
    wires.show(up=False)  # whoever reads the device is told of it
    assert lines.shown == [False, True]


def test_a_device_that_does_not() -> None:
    lines = Lines()
    wires = Wires.of(Transport({"port": lines}), SerialDevice("/dev/none"))
    assert wires is not None
    wires.show(up=True)
    assert lines.shown == []


def test_a_socket_has_no_such_lines() -> None:
    assert Wires.of(Transport({}), SerialDevice("/dev/none")) is None


async def test_readiness_is_told_when_it_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "DEVICE_CARRIER_SECONDS", 0.001)
    lines, told = Lines(), list[bool]()
    watching = asyncio.create_task(Wires(lines, minds=True, shows=False).watch(told.append))
    for up in (True, False, False, True):
        lines.up = up
        await asyncio.sleep(0.02)
    assert told == [False, True]
    lines.lost = True
    await asyncio.wait_for(watching, 5)
    assert told == [False, True]


async def test_nothing_is_looked_at_where_it_is_not_minded() -> None:
    lines = Lines()
    lines.up = False
    await asyncio.wait_for(Wires(lines, minds=False, shows=True).watch(lambda _: None), 5)


# A modem at a device that has such lines


class WithLines(Port):
    """A pseudo terminal with modem lines."""

    up = True
    shown: list[bool]

    def carrier(self) -> bool:
        return self.up

    def terminal_ready(self, up: bool) -> None:
        self.shown.append(up)


class Far:
    """A far end that says nothing until it is told to hang up."""

    origin = "tcp://far.example:7"
    datagrams = False

    def __init__(self) -> None:
        self.over = asyncio.Event()
        self.aborted = False

    async def receive(self) -> bytes | None:
        await self.over.wait()
        return None

    async def send(self, data: bytes) -> None:
        pass

    async def aclose(self) -> None:
        self.over.set()

    def abort(self) -> None:
        self.aborted = True
        self.over.set()


class Stand:
    """Grants calls."""

    def __init__(self) -> None:
        self.fars: list[Far] = []

    def now(self, wish: Wish) -> Granted | None:
        return None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        self.fars.append(Far())
        return Called(Call(self.fars[-1]), Provenance("tcp://far.example:7", "stream"))


async def test_carrier_and_readiness_of_a_whole_modem(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """AT&C1 shows the carrier of a call, AT&D2 hangs up when the program is no more ready (V.250 sections
    6.2.8 and 6.2.9, from memory).
    """
    for name in ("RETRY", "STEADY", "REST", "CARRIER"):
        monkeypatch.setattr(limits, f"DEVICE_{name}_SECONDS", 0.02)
    machine = Machine(tmp_path / "wire")
    listener = Listener(device=SerialDevice(str(machine.link), carrier=True, drop=True), speaks=Speaks.MODEM)
    place = Place("FAR", "tcp://far.example:7")
    catalogue = Catalogue(listeners=(Listener(port=0),), places={"FAR": place})
    stand, shown, opened = Stand(), list[bool](), list[WithLines]()
    server = Server(catalogue, lambda _: stand)
    await server.start()

    def opening(wire: Wire) -> Port:
        assert wire.watched
        assert not wire.carrier  # the line is up without its program's DTR
        port = WithLines(os.open(wire.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK), wire)
        port.shown = shown
        port.prepare()
        opened.append(port)
        return port

    def line() -> ModemLine:
        ports = CallPorts(lambda: catalogue, Tally())
        return ModemLine(server, lambda: catalogue, stand, lambda: listener, ports)

    device = Device(wire_of(listener), line, opening)
    device.start()
    try:
        await until(lambda: device.up is True)
        machine.say(b"ATE0&C1&D2\r")
        assert (await machine.hear(17)).endswith(b"\r\nOK\r\n")
        assert shown[:1] == [True]  # as an open device is
        del shown[:-2]
        assert shown == [True, False]  # as before &C1, and since: there is no call
        machine.say(b"ATDfar\r")
        assert await machine.hear(16) == b"\r\nCONNECT 9600\r\n"
        assert shown == [True, False, True]
        stand.fars[0].over.set()  # the far end hangs up
        assert await machine.hear(14) == b"\r\nNO CARRIER\r\n"
        assert shown == [True, False, True, False]
        machine.say(b"ATDfar\r")
        assert await machine.hear(16) == b"\r\nCONNECT 9600\r\n"
        opened[0].up = False  # the program drops its DTR
        assert await machine.hear(14) == b"\r\nNO CARRIER\r\n"
        assert shown[-2:] == [True, False]
        await until(lambda: len(stand.fars) == 2 and stand.fars[1].over.is_set())
    finally:
        await device.stop()
        await server.stop()
        machine.unplug()
