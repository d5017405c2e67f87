"""Dialling: CONTRACT section 4, "Where the gateway may go"; all addresses and connections are made up."""

import asyncio
import errno
from collections.abc import Sequence
from ipaddress import ip_address

import pytest

from adapters import limits
from adapters.addresses import Address, Guard
from adapters.errors import CannotConnect, HeadraceError, NoRoom, NotAllowed, TooSlow
from adapters.ftp.link.dialing import data_connection, dialled
from adapters.ftp.link.streams import Streams

PUBLIC, OTHER, PRIVATE = "93.184.216.34", "2606:2800:220:1::1", "10.0.0.1"


class Network:
    """Notes what is dialled; every connection fails in the way that is told, and silence lasts."""

    def __init__(self, *faults: OSError | None) -> None:
        self.faults = list(faults)
        self.dialled: list[tuple[str, int]] = []

    async def connect(self, address: Address, port: int) -> Streams:
        self.dialled.append((str(address), port))
        fault = self.faults.pop(0)
        if fault is not None:
            raise fault
        await asyncio.Event().wait()
        raise AssertionError


def names(*addresses: str):  # type: ignore[no-untyped-def]
    async def resolve(host: str, port: int) -> Sequence[str]:
        return addresses

    return resolve


@pytest.mark.parametrize(
    "addresses", [(PRIVATE,), (PUBLIC, PRIVATE), ("127.0.0.1",), ("::1",), ("169.254.169.254",)]
)
async def test_nothing_private_is_dialled(addresses: tuple[str, ...]) -> None:
    network = Network()
    with pytest.raises(NotAllowed):
        await dialled("files.example", 21, Guard(), names(*addresses), network.connect)
    assert network.dialled == []


async def test_each_address_in_turn() -> None:
    network = Network(ConnectionRefusedError(), OSError(errno.EHOSTUNREACH, "no route"))
    with pytest.raises(CannotConnect):
        await dialled("files.example", 2121, Guard(), names(PUBLIC, OTHER), network.connect)
    assert network.dialled == [(PUBLIC, 2121), (OTHER, 2121)]


async def test_a_silent_address_is_not_waited_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "CONNECT_SECONDS", 0.02)
    network = Network(None, ConnectionRefusedError())
    with pytest.raises(CannotConnect):
        await dialled("files.example", 21, Guard(), names(PUBLIC, OTHER), network.connect)
    assert len(network.dialled) == 2


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (ConnectionRefusedError(), CannotConnect),
        (OSError(errno.EMFILE, "too many"), NoRoom),
        (TimeoutError(), TooSlow),
        (OSError(errno.ENETUNREACH, "no"), CannotConnect),
    ],
)
async def test_faults(fault: OSError, kind: type[HeadraceError]) -> None:
    with pytest.raises(kind):
        await dialled("files.example", 21, Guard(), names(PUBLIC), Network(fault).connect)
    with pytest.raises(kind):
        await data_connection(ip_address(PUBLIC), 40_000, Guard(), Network(fault).connect)


async def test_a_data_connection_is_judged_too() -> None:
    network = Network()
    with pytest.raises(NotAllowed):
        await data_connection(ip_address(PRIVATE), 40_000, Guard(), network.connect)
    assert network.dialled == []
