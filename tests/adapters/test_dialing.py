"""Dialling: CONTRACT section 4, "Where the gateway may go"; all addresses and connections are made up."""

import asyncio
import errno
from collections.abc import Sequence

import pytest

from adapters import limits
from adapters.addresses import Address, Guard, Resolver
from adapters.dialing import dialled, no_connection
from adapters.errors import CannotConnect, HeadraceError, NoRoom, NotAllowed, TooSlow

PUBLIC, OTHER, PRIVATE = "93.184.216.34", "2606:2800:220:1::1", "10.0.0.1"


class Network:
    """Notes what is dialled; every connection fails in the way that is told, succeeds, or stays silent."""

    def __init__(self, *faults: OSError | str | None) -> None:
        self.faults = list(faults)
        self.dialled: list[tuple[str, int]] = []

    async def connect(self, address: Address, port: int) -> str:
        self.dialled.append((str(address), port))
        fault = self.faults.pop(0)
        if isinstance(fault, OSError):
            raise fault
        if fault is None:
            await asyncio.Event().wait()
        return f"to {address}"


def names(*addresses: str) -> Resolver:
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


async def test_the_first_that_answers_is_told_with_its_address() -> None:
    network = Network(ConnectionRefusedError(), "open")
    address, made = await dialled("files.example", 21, Guard(), names(PUBLIC, OTHER), network.connect)
    assert (str(address), made) == (OTHER, f"to {OTHER}")


async def test_a_silent_address_is_not_waited_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "CONNECT_SECONDS", 0.02)
    network = Network(None, ConnectionRefusedError())
    with pytest.raises(CannotConnect):
        await dialled("files.example", 21, Guard(), names(PUBLIC, OTHER), network.connect)
    assert len(network.dialled) == 2


async def test_nor_is_the_last_one_where_its_patience_is_told() -> None:
    with pytest.raises(TooSlow):
        await dialled("files.example", 21, Guard(), names(PUBLIC), Network(None).connect, last_patience=0.02)


@pytest.mark.parametrize(
    ("fault", "kind", "sentence"),
    [
        (ConnectionRefusedError(), CannotConnect, "The far server refuses to connect"),
        (OSError(errno.EMFILE, "too many"), NoRoom, "The gateway has no descriptor left"),
        (TimeoutError(), TooSlow, "The far server took too long"),
        (OSError(errno.ENETUNREACH, "no"), CannotConnect, "Cannot connect to the far server"),
    ],
)
async def test_faults(fault: OSError, kind: type[HeadraceError], sentence: str) -> None:
    with pytest.raises(kind) as caught:
        await dialled("files.example", 21, Guard(), names(PUBLIC), Network(fault).connect)
    assert caught.value.sentence == sentence
    assert type(no_connection(fault)) is kind
