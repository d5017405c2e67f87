"""Carrier and readiness over a serial device's own lines (V.24 circuits 109 and 108/2, from memory)."""

import asyncio

import pytest

from adapters import limits
from gateway.catalogue.model import SerialDevice
from gateway.service.modems.wires import Wires


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
