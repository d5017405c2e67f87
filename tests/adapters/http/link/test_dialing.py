"""The guard inside httpcore: which addresses are dialled, in which order, and never another look-up."""

import asyncio
from collections.abc import Sequence
from time import perf_counter
from typing import Any

import httpcore
import pytest

from adapters import limits
from adapters.addresses import Address, Guard
from adapters.errors import CannotConnect, HeadraceError, NotAllowed, TooSlow
from adapters.http.link.dialing import Dialer
from adapters.http.link.exchange import CURRENT, Exchange


class Wire:
    """Connects to nothing: notes what was dialled, and fails, stalls or opens as told."""

    def __init__(self, **outcomes: Any) -> None:
        self.outcomes = outcomes
        self.dialled: list[tuple[str, int]] = []

    async def __call__(self, address: Address, port: int) -> httpcore.AsyncNetworkStream:
        self.dialled.append((str(address), port))
        outcome = self.outcomes.get(f"a{len(self.dialled)}")
        if isinstance(outcome, BaseException):
            raise outcome
        if outcome == "stall":
            await asyncio.sleep(60)
        return httpcore.AsyncMockStream([])


class Resolver:
    """Gives the next answer each time: a name that changes its mind."""

    def __init__(self, *answers: Sequence[str]) -> None:
        self.answers = list(answers)
        self.asked = 0

    async def __call__(self, host: str, port: int) -> Sequence[str]:
        self.asked += 1
        return self.answers[min(self.asked, len(self.answers)) - 1]


async def test_the_address_that_was_judged_is_the_one_dialled() -> None:
    """A second look-up would say loopback: it is not made."""
    resolve, wire = Resolver(["8.8.8.8"], ["127.0.0.1"]), Wire()
    await Dialer(Guard(), resolve, wire).connect_tcp("site.example", 443)
    assert wire.dialled == [("8.8.8.8", 443)]
    assert resolve.asked == 1


@pytest.mark.parametrize("answer", [["127.0.0.1"], ["8.8.8.8", "10.0.0.1"], ["::1"], ["64:ff9b::a00:1"]])
async def test_refused_addresses_are_not_dialled(answer: list[str]) -> None:
    wire = Wire()
    with pytest.raises(NotAllowed):
        await Dialer(Guard(), Resolver(answer), wire).connect_tcp("site.example", 80)
    assert wire.dialled == []


@pytest.mark.parametrize(
    "host", ["127.1", "0x7f.1", "2130706433", "localhost.", "[::ffff:127.0.0.1]", "127.0.0.1."]
)
async def test_nor_are_they_in_disguise(host: str) -> None:
    wire = Wire()
    with pytest.raises(NotAllowed):
        await Dialer(Guard(), Resolver(["127.0.0.1"]), wire).connect_tcp(host, 80)
    assert wire.dialled == []


async def test_addresses_are_tried_in_turn() -> None:
    wire = Wire(a1=ConnectionRefusedError(), a2=OSError(101, "unreachable"))
    resolve = Resolver(["2606:4700::1", "1.1.1.1", "8.8.8.8", "9.9.9.9"])
    await Dialer(Guard(), resolve, wire).connect_tcp("site.example", 80)
    assert [address for address, _ in wire.dialled] == ["2606:4700::1", "1.1.1.1", "8.8.8.8"]


async def test_a_silent_address_does_not_use_up_the_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "CONNECT_SECONDS", 0.05)
    wire = Wire(a1="stall")
    began = perf_counter()
    await Dialer(Guard(), Resolver(["1.1.1.1", "8.8.8.8"]), wire).connect_tcp("site.example", 80)
    assert len(wire.dialled) == 2
    assert perf_counter() - began < 0.5


async def test_the_last_address_may_take_the_time_that_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "CONNECT_SECONDS", 0.01)
    dialer = Dialer(Guard(), Resolver(["1.1.1.1"]), Wire(a1="stall"))
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.1):
            await dialer.connect_tcp("site.example", 80)


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (ConnectionRefusedError(111, "hush"), CannotConnect),
        (OSError(113, "no route to hush"), CannotConnect),
        (TimeoutError(110, "hush"), TooSlow),
    ],
)
async def test_what_fails_is_the_house_s_error(error: OSError, kind: type[HeadraceError]) -> None:
    dialer = Dialer(Guard(), Resolver(["1.1.1.1", "8.8.8.8"]), Wire(a1=error, a2=error))
    with pytest.raises(kind) as caught:
        await dialer.connect_tcp("site.example", 80)
    assert "hush" not in str(caught.value)
    assert caught.value.__cause__ is error


async def test_dialling_is_marked_in_the_exchange() -> None:
    exchange = Exchange()
    token = CURRENT.set(exchange)
    await Dialer(Guard(), Resolver(["1.1.1.1"]), Wire()).connect_tcp("site.example", 80)
    CURRENT.reset(token)
    assert exchange.dialled
    assert not exchange.sent


async def test_no_call_leads_to_a_path() -> None:
    with pytest.raises(CannotConnect):
        await Dialer(Guard(anywhere=True), Resolver([]), Wire()).connect_unix_socket("/run/socket")
