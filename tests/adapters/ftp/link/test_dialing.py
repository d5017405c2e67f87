"""Data connections: CONTRACT section 4, "Where the gateway may go"; everything here is made up."""

import asyncio
import errno
from ipaddress import ip_address

import pytest

from adapters.addresses import Address, Guard
from adapters.errors import CannotConnect, HeadraceError, NoRoom, NotAllowed, TooSlow
from adapters.ftp.link.dialing import data_connection
from adapters.ftp.link.streams import Streams

PUBLIC, PRIVATE = "93.184.216.34", "10.0.0.1"


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
        await data_connection(ip_address(PUBLIC), 40_000, Guard(), Network(fault).connect)


async def test_a_data_connection_is_judged_too() -> None:
    network = Network()
    with pytest.raises(NotAllowed):
        await data_connection(ip_address(PRIVATE), 40_000, Guard(), network.connect)
    assert network.dialled == []
