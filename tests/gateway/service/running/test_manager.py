"""What a service manager is told: datagrams as in sd_notify(3), to a socket as the manager makes it."""

import asyncio
import os
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.service.running.manager import Manager
from tests.gateway.commands.processes import PATIENCE, serving
from tests.gateway.commands.test_serve import port_of


class Told:
    """The manager's end."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + address[1:] if address.startswith("@") else address)
        self.socket.settimeout(PATIENCE)

    def next(self) -> dict[str, str]:
        lines = self.socket.recv(65_536).decode().split("\n")
        return dict(line.split("=", 1) for line in lines)


@pytest.fixture(params=["path", "abstract"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    return str(tmp_path / "notify") if request.param == "path" else f"@headrace-{os.getpid()}"


@pytest.fixture
def told(address: str) -> Iterator[Told]:
    made = Told(address)
    yield made
    made.socket.close()


def test_it_is_told_and_the_variables_go_no_further(told: Told, address: str) -> None:
    variables = {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "5000000", "WATCHDOG_PID": "1", "HOME": "/"}
    manager = Manager(variables)
    manager.say(ready=1, status="all is well")
    assert told.next() == {"READY": "1", "STATUS": "all is well"}
    assert variables == {"HOME": "/"}
    assert manager.seconds is None  # it is another process that is watched
    assert manager.variables == {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "5000000"}


async def test_a_watched_process_says_that_it_is_alive_twice_in_each_span(told: Told, address: str) -> None:
    variables = {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "400000", "WATCHDOG_PID": str(os.getpid())}
    manager = Manager(variables)
    began = asyncio.get_running_loop().time()
    alive = asyncio.create_task(manager.stay_alive())
    for _ in range(3):
        assert await asyncio.to_thread(told.next) == {"WATCHDOG": "1"}
    took = asyncio.get_running_loop().time() - began
    assert took >= 0.4
    alive.cancel()
    with pytest.raises(asyncio.CancelledError):
        await alive


@pytest.mark.parametrize(
    "variables",
    [{}, {"WATCHDOG_USEC": "nonsense"}, {"WATCHDOG_USEC": "0"}, {"WATCHDOG_USEC": "1", "WATCHDOG_PID": "1"}],
)
async def test_nobody_is_told(variables: dict[str, str]) -> None:
    manager = Manager(variables)
    manager.say(ready=1)
    assert manager.seconds is None
    await asyncio.wait_for(manager.stay_alive(), PATIENCE)  # there is nothing to stay for


def test_a_manager_that_is_gone_harms_nobody(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    Manager({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).say(ready=1)
    assert "cannot be told" in caplog.text


def test_a_gateway_tells_how_it_is(tmp_path: Path) -> None:
    """Ready once it listens; then alive; which process goes on; that it stops."""
    (tmp_path / "headrace.toml").write_text("[[listen]]\nport = 0\n")
    told = Told(str(tmp_path / "notify"))
    with serving(folder=tmp_path, NOTIFY_SOCKET=str(tmp_path / "notify"), WATCHDOG_USEC="1000000") as gateway:
        port = port_of(gateway)
        assert _but_alive(told) == {"READY": "1"}
        assert told.next() == {"WATCHDOG": "1"}
        with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE):  # so that this one stays
            gateway.process.send_signal(signal.SIGUSR2)
            while (said := _but_alive(told)) == {"READY": "1"}:  # said by the one that follows
                pass
            follower = int(said["MAINPID"])
            os.kill(follower, signal.SIGTERM)
            while _but_alive(told) != {"STOPPING": "1"}:
                pass
        assert gateway.process.wait(PATIENCE) == 0
    told.socket.close()


def _but_alive(told: Told) -> dict[str, str]:
    while (said := told.next()) == {"WATCHDOG": "1"}:
        pass
    return said
