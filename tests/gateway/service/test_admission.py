"""Who is let in: networks, clients from one address, and what is counted of whom."""

import asyncio
import socket
import time
from collections.abc import Iterator
from contextlib import AsyncExitStack
from dataclasses import replace
from pathlib import Path

import pytest

from adapters import limits
from gateway.catalogue.model import Listener
from gateway.testing.clients.line import Line
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from tests.gateway.service.gate import RESUMING, gate


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


def said(line: Line) -> bytes:
    """The record of a reply that comes by itself or was asked for."""
    until = time.monotonic() + 5
    return line.take_until(b"\r\n", until)[:4] + line.take_until(b"\r\n", until).rstrip()


def call(gateway: Gateway, request: bytes = b"") -> Line:
    line = Line(gateway.host, gateway.port, 5)
    if request:
        line.send(request, 5)
    return line


FROM_ELSEWHERE = b"421 Nobody may connect from there"


def test_networks(stage: Stage) -> None:
    """Loopback counts as any other; whoever is not let in is told, and nothing it asks is run."""
    closed = stage.gateways('[[listen]]\nnetworks = ["192.0.2.0/24", "127.0.0.2"]\n', log="info")
    line = call(closed)
    assert said(line) == FROM_ELSEWHERE
    line.close()
    assert any("peer=127.0.0.1 is turned away: Nobody may connect from there" in each for each in closed.log)
    opened = stage.gateways('[[listen]]\nnetworks = ["192.0.2.0/24", "127.0.0.1"]\n')
    assert stage.clients(opened).ask("NOOP x").status == 200


@pytest.mark.parametrize("speaks", ["requests", "modem"])
def test_a_modems_line_is_closed_too(stage: Stage, speaks: str) -> None:
    gateway = stage.gateways(f'[[listen]]\nspeaks = "{speaks}"\nnetworks = []\n')
    line = call(gateway, b"AT\r")
    until = time.monotonic() + 5
    assert line.take_until(b"\r\n", until) in {b"", b"421 00001 040 .."}
    assert line.take_until(b"\r\n", until).rstrip() in {b"NO DIALTONE", FROM_ELSEWHERE[4:]}
    line.close()


def test_clients_from_one_address(stage: Stage) -> None:
    """The one too many is told within a tenth of a second, and a place that is left is free at once."""
    gateway = stage.gateways("[gateway]\nper_address = 2\n")
    first, second = stage.clients(gateway), stage.clients(gateway)
    assert first.ask("NOOP").status == 200
    assert second.ask("NOOP").status == 200
    began = time.monotonic()
    third = call(gateway)
    assert said(third) == b"421 Too many connections from there"
    assert time.monotonic() - began < 0.1
    third.close()
    first.close()
    until = time.monotonic() + 5
    while True:
        line = call(gateway, b"NOOP ok\r")
        found = said(line)
        line.close()
        if found == b"200 ok":
            break
        assert time.monotonic() < until


async def test_who_has_no_room_is_told_as_it_comes_in() -> None:
    """In the turn of the loop in which its line is accepted, though asyncio has no protocol for it yet."""
    async with gate(Listener(port=0), clients=1) as house, house.call() as inside:
        assert (await inside.say(b"NOOP\r")).startswith(b"200")
        with socket.create_connection(("127.0.0.1", house.ports[0]), timeout=5) as line:
            line.setblocking(False)
            await asyncio.sleep(0)
            await asyncio.sleep(0)  # once the loop has looked at the sockets, and once to act
            assert line.recv(100).startswith(b"421 00001 040 ..\r\nThe gateway is full")
            assert house.server.leaving == 1
        await house.until(lambda: not house.server.leaving)
        assert house.server.counts.refused == {"The gateway is full": 1}


async def test_a_client_with_a_pace_is_told_at_it() -> None:
    """60 bytes at 100 a second; what it says meanwhile is not heard."""
    async with gate(Listener(port=0, profile="PACED"), clients=1) as house, house.call():
        await house.until(lambda: house.server.clients == 1)
        async with house.call() as turned_away:
            began = time.monotonic()
            turned_away.writer.write(b"NOOP never\r")
            assert (await turned_away.reply()).startswith(b"421 00001 040 ..\r\nThe gateway is full")
            assert time.monotonic() - began >= 0.3
            assert await asyncio.wait_for(turned_away.reader.read(), 5) == b""


@pytest.mark.parametrize(
    ("listener", "clients"),
    [(Listener(port=0, profile="PACED"), 1), (replace(RESUMING, networks=()), 100)],
    ids=["with a pace", "of one machine"],
)
async def test_those_that_their_protocol_tells_do_not_pile_up_either(
    listener: Listener, clients: int
) -> None:
    count = limits.TURNED_AWAY + 20
    async with gate(listener, clients=clients) as house, AsyncExitStack() as held:
        lines = [await held.enter_async_context(house.call()) for _ in range(count + 1)]
        told = [await each.reply() for each in lines[1:]]
        assert {each[:3] for each in told} == {b"421"}
        assert house.server.leaving <= limits.TURNED_AWAY + 1


QUOTA = """[[listen]]
port = 1
rights = "guests"
[rights.guests]
places = []
{limit}
"""


def test_requests_over_the_rate_are_told_the_seconds(stage: Stage) -> None:
    """Together, however many lines one address has."""
    gateway = stage.gateways(QUOTA.format(limit="rate = 12"))
    clients = [stage.clients(gateway) for _ in range(2)]
    codes = [clients[number % 2].ask("NOOP").status for number in range(12)]
    assert codes == [200] * 12
    reply = clients[0].ask("NOOP")
    assert reply.status == 429
    assert reply.records[0].split() == ["Too", "many", "requests;", "wait", "5"]


def test_bytes_over_a_days_are_refused(stage: Stage) -> None:
    """What was sent and what was answered count: 6 and 18 for each of these, the blank record of 40 too."""
    gateway = stage.gateways(QUOTA.format(limit="bytes = 264"))
    client = stage.clients(gateway)
    assert [client.ask("NOOP").status for _ in range(11)] == [200] * 11  # 11 times 5 + 1 + 18
    assert client.ask("NOOP").status == 429


def test_bytes_that_a_copy_carries_count(stage: Stage, tmp_path: Path) -> None:
    """When it is done, for whoever asked for it; not those that one disk copies by itself."""
    far = stage.upstreams()
    far.on("/long.txt").data(bytes(100_000))
    places = f'[place.one]\nbase = "{far.url}/"\n[place.two]\nbase = "file://{tmp_path}/"\nwrite = true\n'
    rights = QUOTA.format(limit='write = ["two"]\nbytes = 100000').replace("[]", '["one", "two"]')
    client = stage.clients(stage.gateways(f"{rights}{places}"))
    (tmp_path / "here.txt").write_bytes(bytes(100_000))
    assert client.ask("COPY two:here.txt two:there.txt").status == 250
    assert client.ask("COPY one:long.txt two:a.txt").status == 250
    assert client.ask("NOOP").status == 429
    assert (tmp_path / "a.txt").read_bytes() == bytes(100_000)
