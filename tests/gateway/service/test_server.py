"""The doors of a gateway: who gets in, with which profile, and what a reload changes."""

import asyncio
import ipaddress
import socket
from contextlib import suppress
from dataclasses import replace

import pytest

from adapters import limits
from gateway.catalogue.model import Catalogue, Listener, ReservedPort, SerialDevice
from gateway.service.clients.connection import Connection
from gateway.service.doors import Bound
from gateway.service.outlook import troubles
from gateway.service.server import Server
from tests.gateway.service.callers.callers import free_port
from tests.gateway.service.clients.test_granting import Late
from tests.gateway.service.gate import (
    NO_PAGE,
    PROFILES,
    RESUMING,
    TEN,
    gate,
)


async def test_a_full_house_lets_the_machine_back_in() -> None:
    async with (
        gate(RESUMING, Listener(port=0), clients=2) as house,
        house.call(0) as old,
        house.call(1) as other,
    ):
        await old.say(b"ASK ten\r")
        await other.say(b"NOOP\r")
        async with house.call(1) as turned_away:
            assert (await turned_away.reply())[:3] == b"421"
        async with house.call(0) as silent, house.call(0) as new:  # the old line still counts
            assert await asyncio.wait_for(silent.reader.read(), 5) == b""
            assert await new.say(b"AGAIN\r") == TEN
            assert await asyncio.wait_for(old.reader.read(), 5) == b""
            await house.until(lambda: house.server.clients == 2)


async def test_kept_over_a_reload_that_takes_the_profile_away() -> None:
    async with gate(replace(RESUMING, profile="SEVEN")) as house:
        async with house.call() as old:
            shown = await old.say(b"ASK ten\r")
            old.cut()
        await house.server.reload(Catalogue(listeners=(replace(RESUMING, profile="PLAIN"),)))
        async with house.call() as new:
            assert await new.say(b"AGAIN\r") == shown


@pytest.mark.parametrize("listeners", [(Listener(port=0),), (replace(RESUMING, host="127.0.0.2"),)])
async def test_not_over_one_that_takes_the_listener_away(listeners: tuple[Listener, ...]) -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(b"ASK slow\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        bound = await house.server.reload(Catalogue(listeners=listeners))
        assert house.world.cancelled == 1
        if not bound:  # the port is the same
            async with house.call() as new:
                assert await new.say(b"AGAIN\r") == NO_PAGE


async def test_a_stopping_gateway_waits_for_nobody_who_is_gone() -> None:
    async with gate() as house:
        async with house.call() as old:
            old.writer.write(b"ASK slow\r")
            await asyncio.wait_for(house.world.begun.wait(), 5)
            old.cut()
        await house.until(lambda: house.server.clients == 0)
        await asyncio.wait_for(house.server.stop(), 1)
        assert house.world.cancelled == 1


async def test_profiles_for_addresses_follow_a_reload() -> None:
    network = ipaddress.ip_network
    table = ((network("127.0.0.2/32"), "COLS-22"), (network("127.0.0.0/28"), "COLS-80"))
    listener = replace(Listener(port=0), profile="COLS-32", by_address=table)
    async with gate(listener) as house:

        async def columns(source: str) -> bytes:
            async with house.call(source=source) as line:
                return (await line.say(b"AGAIN\r"))[10:13]

        assert [await columns(f"127.0.0.{host}") for host in (1, 2, 99)] == [b"080", b"022", b"032"]
        async with house.call(source="127.0.0.2") as before:
            await before.say(b"NOOP\r")
            fresh = replace(listener, by_address=((network("127.0.0.2/32"), "COLS-80"),))
            assert await house.server.reload(Catalogue(listeners=(fresh,), profiles=PROFILES)) == []
            assert [await columns(f"127.0.0.{host}") for host in (1, 2)] == [b"032", b"080"]
            assert (await before.say(b"AGAIN\r"))[10:13] == b"022"


async def test_listeners_at_free_ports_are_told_apart_by_a_reload() -> None:
    """Two that are alike in all: both stay open, and one of them closes."""
    plain = Listener(port=0)
    async with gate(plain, plain) as house:
        assert await house.server.reload(Catalogue(listeners=(plain, plain))) == []
        for number in (0, 1):
            async with house.call(number) as line:
                assert (await line.say(b"NOOP x\r"))[:3] == b"200"
        (fresh,) = await house.server.reload(Catalogue(listeners=(plain, plain, plain)))
        assert fresh.port not in house.ports
        assert await house.server.reload(Catalogue(listeners=(plain,))) == []
        with pytest.raises(OSError, match=r"refused|failed"):
            await asyncio.open_connection("127.0.0.1", fresh.port)
        async with house.call(0) as line:
            assert (await line.say(b"NOOP x\r"))[:3] == b"200"


@pytest.mark.parametrize("turns", range(4))
async def test_who_comes_as_it_stops_is_not_left_waiting(turns: int) -> None:
    """A client is let in a few turns of the loop before, or not at all: its line ends in every case."""
    server = Server(Catalogue(listeners=(Listener(port=0),)), lambda _: Late())
    (bound,) = await server.start()
    with socket.socket() as client:
        client.setblocking(False)
        with suppress(BlockingIOError):
            client.connect((bound.host, bound.port))  # the kernel takes it in
        for _ in range(turns):
            await asyncio.sleep(0)
        await server.stop()
        received = b""
        with suppress(ConnectionResetError):
            async with asyncio.timeout(2):
                while data := await asyncio.get_running_loop().sock_recv(client, 100):
                    received += data
    assert received[:3] in (b"", b"421")


async def test_a_client_that_vanishes_is_noticed_some_day() -> None:
    """TCP itself asks (RFC 9293 section 3.8.4), also where the client waits for a call and is never idle."""
    async with gate() as house, house.call() as client:
        await client.say(b"NOOP\r")
        (connection,) = house.server.admission.here
        assert isinstance(connection, Connection)
        assert connection._transport is not None
        own = connection._transport.get_extra_info("socket")
        assert own.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
        assert own.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) == limits.KEEPALIVE_SECONDS


async def test_who_hears_at_a_port_that_a_reload_takes_away_is_told() -> None:
    port = free_port()
    listener = Listener(port=0)
    async with gate(listener) as house, house.call() as client:
        await house.server.reload(Catalogue(listeners=(listener,), reserved={port: ReservedPort(port)}))
        assert await client.say(b"HEAR %d\r" % port) == b"150 00000 000 ..\r\n"
        await house.server.reload(Catalogue(listeners=(listener,)))
        assert (await client.reply())[:3] == b"550"
        assert (await client.say(b"NOOP\r"))[:3] == b"200"


def test_a_device_is_announced_with_how_it_is_set() -> None:
    """Speed, bits, parity and stop bits as people write them."""
    listener = Listener(device=SerialDevice("/dev/example"), profile="LINE")
    assert Bound(listener, "/dev/example", 0).announcement == (
        "headrace: listening on /dev/example, 9600 8N1 (line)"
    )


async def test_a_reload_with_another_state_folder_is_told_to_wait(caplog: pytest.LogCaptureFixture) -> None:
    async with gate() as house:
        known = house.server._catalogue
        await house.server.reload(replace(known, gateway=replace(known.gateway, state="elsewhere")))
        assert "the state folder changes with the next start only" in caplog.text
        async with house.call() as line:
            assert await line.say(b"ASK ten\r") == TEN


async def test_a_port_that_is_taken_costs_a_reload_only_that_listener(
    caplog: pytest.LogCaptureFixture,
) -> None:
    async with gate() as house:
        with socket.create_server(("127.0.0.1", 0)) as taken:
            known, port = house.server._catalogue, taken.getsockname()[1]
            more = (*known.listeners, Listener(port=port), Listener(port=0, host="127.0.0.2"))
            bound = await house.server.reload(replace(known, listeners=more))
        assert [each.host for each in bound] == ["127.0.0.2"]
        assert f"cannot listen on 127.0.0.1:{port}" in caplog.text
        assert [each.port for each in house.server.absent] == [port]
        assert troubles(house.server) == [f"The listener at 127.0.0.1:{port} is not open"]


async def test_where_another_process_lets_clients_in_a_reload_opens_nothing() -> None:
    async with gate() as house, house.call() as line:
        await line.say(b"NOOP\r")
        await house.server.follow_on()
        known = house.server._catalogue
        sources = {"TEN": known.sources["TEN"]}
        more = (*known.listeners, Listener(port=0, host="127.0.0.2"))
        assert await house.server.reload(replace(known, listeners=more, sources=sources)) == []
        assert (await line.say(b"ASK long\r"))[:3] == b"550"  # what it says holds for who is still here


async def test_why_no_further_client_should_be_sent_there() -> None:
    async with gate(clients=1) as house:
        assert troubles(house.server) == []
        async with house.call() as line:
            await line.say(b"NOOP\r")
            assert troubles(house.server) == ["It is full"]
        house.server.stopping = True
        assert troubles(house.server) == ["It is going down"]
