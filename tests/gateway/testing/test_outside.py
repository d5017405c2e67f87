"""What a gateway under test reaches. Addresses are those for documentation (RFC 5737) and never dialled."""

import asyncio
import errno
import socket

import pytest

from adapters.errors import CannotConnect
from gateway.testing.background import Background
from gateway.testing.outside import StayingLoop, names
from gateway.testing.stage import Stage
from tests.gateway.testing.harbour import CATALOGUE, MOLE, ORIGIN, RECORDS

DOCUMENTATION = "203.0.113.7"
PRIVATE = "10.0.0.1"
ASK = "ASK TIDES mole"


@pytest.mark.parametrize("host", [DOCUMENTATION, PRIVATE, "2001:db8::1", "fe80::1%1"])
def test_the_loop_leaves_this_machine_for_nobody(host: str) -> None:
    refused: list[str] = []
    loop = Background("staying", lambda: StayingLoop(refused))
    try:
        with pytest.raises(OSError, match="stays on this machine") as caught:
            loop.run(asyncio.open_connection(host, 9), 5)
        assert caught.value.errno == errno.ENETUNREACH
        assert [each.partition("%")[0].removesuffix(":9") for each in refused] == [host.partition("%")[0]]
    finally:
        loop.stop()


def test_the_loop_dials_loopback() -> None:
    loop = Background("staying", lambda: StayingLoop([]))
    with socket.create_server(("127.0.0.1", 0)) as server:
        try:

            async def call() -> None:
                _, writer = await asyncio.open_connection(*server.getsockname())
                writer.close()
                await writer.wait_closed()

            loop.run(call(), 5)
        finally:
            loop.stop()


def test_names_are_those_of_the_test() -> None:
    resolve = names({"Tides.Example.": PRIVATE, "two.example": ["127.0.0.1", PRIVATE]})

    async def found(host: str) -> list[str]:
        return list(await resolve(host, 80))

    assert asyncio.run(found("tides.example")) == [PRIVATE]
    assert asyncio.run(found("two.example")) == ["127.0.0.1", PRIVATE]
    assert asyncio.run(found("localhost")) == ["127.0.0.1"]
    with pytest.raises(CannotConnect, match="No such host"):
        asyncio.run(found("bar.example"))


def test_the_gateways_own_rule_stays_in_force(stage: Stage) -> None:
    """CONTRACT section 4: a redirect may leave the catalogue's origins for public addresses only."""
    named, other = stage.upstreams(), stage.upstreams()
    named.on("/mole.json").redirect(f"{other.url}/mole.json")
    named.on("/bar.json").redirect("http://inside.example/")
    other.on("/mole.json").json(MOLE)
    hosts = {"inside.example": PRIVATE}
    gateway = stage.gateways(CATALOGUE, instead={ORIGIN: named.url}, hosts=hosts)
    client = stage.clients(gateway)
    assert client.ask(ASK).status == 532
    assert client.ask("ASK TIDES bar").status == 532
    assert other.count() == 0
    assert gateway.refused == [], "it did not even try"
    allowed = stage.gateways(CATALOGUE, instead={ORIGIN: named.url}, hosts=hosts, allow=["127.0.0.1"])
    client = stage.clients(allowed)
    assert client.ask(ASK).records == RECORDS
    assert client.ask("ASK TIDES bar").status == 532


def test_named_origins_that_are_elsewhere_are_not_dialled(stage: Stage) -> None:
    gateway = stage.gateways(CATALOGUE, hosts={"tides.example": DOCUMENTATION})
    assert stage.clients(gateway).ask(ASK).status == 425
    assert list(gateway.refused) == [f"{DOCUMENTATION}:443"]
    assert f"not dialled: {DOCUMENTATION}:443 is not this machine; network=True allows it" in gateway.log[0]
    unknown = stage.gateways(CATALOGUE)
    assert stage.clients(unknown).ask(ASK).status == 425
    assert "hosts={'tides.example': '127.0.0.1'} gives it an address" in unknown.log[0]


@pytest.mark.parametrize("scheme", ["ftp", "ftps", "dav", "davs"])
def test_other_protocols_stay_too(stage: Stage, scheme: str) -> None:
    place = f'[place.quay]\nbase = "{scheme}://quay.example/"\n'
    gateway = stage.gateways(place, hosts={"quay.example": DOCUMENTATION})
    assert stage.clients(gateway).ask("LIST quay:").status == 425
    assert [each.partition(":")[0] for each in gateway.refused] == [DOCUMENTATION]


def test_streams_go_to_the_names_of_the_test_and_stay_too(stage: Stage) -> None:
    with socket.create_server(("127.0.0.1", 0)) as board:
        place = f'[place.board]\nbase = "tcp://board.example:{board.getsockname()[1]}"\n'
        gateway = stage.gateways(place, hosts={"board.example": "127.0.0.1"})
        client = stage.clients(gateway)
        assert client.ask("TALK board:").status == 200
        board.settimeout(5)
        far, _ = board.accept()
        with far:
            far.sendall(b"WHO IS THERE")
            assert client.read(12) == b"WHO IS THERE"
    elsewhere = stage.gateways(place, hosts={"board.example": DOCUMENTATION})
    assert stage.clients(elsewhere).ask("TALK board:").status == 425
    assert [each.partition(":")[0] for each in elsewhere.refused] == [DOCUMENTATION]


def test_a_name_with_a_port_of_its_own(stage: Stage) -> None:
    far = stage.upstreams()
    far.on("/mole.json").json(MOLE)
    instead = {ORIGIN: f"http://tides.example:{far.port}"}
    gateway = stage.gateways(CATALOGUE, instead=instead, hosts={"tides.example": "127.0.0.1"})
    assert stage.clients(gateway).ask(ASK).records == RECORDS
    (request,) = far.requests
    assert request.header("Host") == f"tides.example:{far.port}"


def test_hosts_are_for_a_gateway_that_stays(stage: Stage) -> None:
    with pytest.raises(ValueError, match="leave network out"):
        stage.gateways(CATALOGUE, hosts={}, network=True)
