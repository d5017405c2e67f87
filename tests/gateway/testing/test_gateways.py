import errno
import logging
import socket
import threading
from pathlib import Path

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.commands import wiring
from gateway.testing.gateways import GatewayErrors
from gateway.testing.stage import Stage
from tests.gateway.testing.harbour import CATALOGUE, MOLE, ORIGIN, RECORDS

ASK = "ASK TIDES mole"


def test_two_at_once_know_nothing_of_each_other(stage: Stage) -> None:
    far = [stage.upstreams(), stage.upstreams()]
    gateways = []
    for number, each in enumerate(far):
        each.on("/mole.json").json({"events": [{"at": "12:00", "height": number}]})
        when = f"2026-05-17T1{number}:00:00Z"
        gateways.append(stage.gateways(CATALOGUE, instead={ORIGIN: each.url}, clock=when, log="info"))
    clients = [stage.clients(gateway) for gateway in gateways]
    for client in clients:
        client.send(ASK)
        client.send("TIME")
    for number, client in enumerate(clients):
        assert client.reply().records == (f"12:00{number:>7.2f}",)
        assert client.reply().records[0][11:13] == f"1{number}"
    gateways[0].clock.advance(hours=5)
    assert [client.ask("TIME").records[0][11:13] for client in clients] == ["15", "11"]
    assert gateways[0].port != gateways[1].port
    clients[0].close()
    gateways[0].stop()
    assert clients[1].ask(ASK).status == 200
    assert [each.count() for each in far] == [1, 2]


def test_kept_copies_grow_old_by_the_clock(stage: Stage) -> None:
    far = stage.upstreams()
    far.on("/mole.json").json(MOLE).status(503)
    catalogue = CATALOGUE.replace('rows = "$.events"', 'rows = "$.events"\nkeep = "10m"\nstale = "1d"')
    gateway = stage.gateways(catalogue, instead={ORIGIN: far.url}, clock="2026-05-17T12:00:00Z")
    client = stage.clients(gateway)
    fresh = client.ask(ASK)
    assert (fresh.records, fresh.worst) == (RECORDS, ".")
    gateway.clock.advance(minutes=9)
    assert client.ask(ASK) == fresh
    gateway.clock.advance(minutes=2)
    stale = client.ask(ASK)
    assert (stale.records, stale.worst) == (RECORDS, "S")
    gateway.clock.advance(days=2)
    assert client.ask(ASK).status == 450
    assert far.count() == 3


def test_a_file_and_what_is_told_beside_it(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    (tmp_path / "harbour").mkdir()
    (tmp_path / "harbour" / "headrace.toml").write_text('[[listen]]\nhost = "::1"\nport = 7\n' + CATALOGUE)
    with Stage(tmp_path / "harbour", lambda: tmp_path_factory.mktemp("headrace")) as stage:
        for name in ("headrace.toml", Path("headrace.toml"), tmp_path / "harbour" / "headrace.toml"):
            gateway = stage.gateways(name, profile="COLS-32", greeting=True, wait=2, allow=["192.0.2.1"])
            assert gateway.host == "127.0.0.1"
            assert gateway.port != 7
            settings = gateway.catalogue.gateway
            assert (settings.wait, settings.allow) == (2, ("192.0.2.1",))
            assert not Path(settings.state).is_relative_to(tmp_path / "harbour")
            greeting = stage.clients(gateway).greeting
            assert greeting is not None
            assert (greeting.status, greeting.width) == (220, 32)
    assert [each.name for each in (tmp_path / "harbour").iterdir()] == ["headrace.toml"]


def test_what_cannot_be_used(stage: Stage) -> None:
    with pytest.raises(CatalogueFaults, match=r"headrace\.toml:4:1: .*rowz"):
        stage.gateways('[source.tides]\nurl = "http://tides.example/"\n\nrowz = "$"\n')
    with pytest.raises(ValueError, match=r"'https://tide\.example' does not occur in the catalogue"):
        stage.gateways(CATALOGUE, instead={"https://tide.example": "http://127.0.0.1"})
    with pytest.raises(KeyError, match=r"no profile papers; there are .*paper"):
        stage.gateways(CATALOGUE, profile="papers")
    with pytest.raises(FileNotFoundError):
        stage.gateways("none.toml")
    with pytest.raises(ValueError, match="log is debug"):
        stage.gateways(CATALOGUE, log="loud")
    gateway = stage.gateways(CATALOGUE)
    with pytest.raises(TypeError, match="this gateway's clock runs"):
        gateway.clock.advance(seconds=1)


def test_a_reserved_port_that_is_taken(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is opened under its own number. A gateway that does not start leaves no thread and no socket, and
    its parts are closed.
    """
    closed, left = list[object](), list[object]()
    aclose = wiring.Parts.aclose

    async def noted(parts: wiring.Parts) -> None:
        closed.append(parts)
        await aclose(parts)

    monkeypatch.setattr(wiring.Parts, "aclose", noted)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        for _ in range(2):  # what is made once in a process is there after the first
            with pytest.raises(OSError, match="address already in use") as caught:
                stage.gateways(f'[hear.{taken.getsockname()[1]}]\nbanner = "An invented pier"\n')
            assert caught.value.errno == errno.EADDRINUSE
            threads = {each.name for each in threading.enumerate()}
            assert "headrace-gateway" not in threads
            left.append((threads, len(list(Path("/proc/self/fd").iterdir()))))
    assert left[0] == left[1]
    assert len(closed) == 2


def test_errors_of_its_own_fail_the_test(stage: Stage) -> None:
    """Reported when all is over; far servers' failures are none (tests of upstream end without)."""
    gateway = stage.gateways(CATALOGUE)
    tolerant = stage.gateways(CATALOGUE, fail_on_errors=False)
    logging.getLogger("gateway.service").error("a disk is full")
    assert len(gateway.errors) == len(tolerant.errors) == 1
    with pytest.raises(GatewayErrors, match=r"logged errors:\n.*a disk is full"):
        stage.gateways.close()
    stage.gateways.close()


def test_a_bug_in_it_is_reported(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    gateway = stage.gateways(CATALOGUE)

    def broken(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("gateway.session.telling.zone_name", broken)
    client = stage.clients(gateway)
    assert client.ask("TIME UTC").status == 451
    client.close()
    assert "ZeroDivisionError" in gateway.errors[0]
    with pytest.raises(GatewayErrors, match="ZeroDivisionError: a bug"):
        stage.gateways.close()


def test_nothing_is_left_behind(tmp_path_factory: pytest.TempPathFactory) -> None:
    def used() -> tuple[set[str], list[str], list[object]]:
        threads = {each.name for each in threading.enumerate()}
        return (
            threads,
            sorted(str(each.readlink()) for each in Path("/proc/self/fd").iterdir() if each.exists()),
            list(logging.getLogger("gateway").handlers),
        )

    def play() -> None:
        with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as stage:
            far = stage.upstreams()
            far.on("/mole.json").json(MOLE)
            far.on("/never.json").silent()
            gateway = stage.gateways(CATALOGUE, instead={ORIGIN: far.url})
            stage.clients(gateway).ask(ASK)
            stage.clients(gateway).send("ASK TIDES never")  # and the test fails
            far.wait_for(2)
            stage.clients(gateway).put(b"half a li")

    play()  # what is made once in a process is there now
    before = used()
    play()
    assert used() == before
