"""The units of `headrace unit`, run by systemd itself (see `managed`): who runs, that it is watched, that an
upgrade drops nobody, and that systemd's own sockets are taken.
"""

import os
import signal
import threading
import time
from base64 import b64encode
from contextlib import closing
from pathlib import Path

from pytest_httpserver import HTTPServer

from gateway.testing.clients.line import Line, NothingCame
from tests.gateway.commands.managed import CREDENTIAL, SECRET, Managed, managed
from tests.gateway.commands.processes import PATIENCE, until
from tests.gateway.service.callers.callers import free_port

CATALOGUE = """
[gateway]
state = "/var/lib/headrace"
members = "/var/lib/headrace/members.toml"
[[listen]]
port = {port}
"""


def take(systemd: Managed, what: str) -> None:
    """The service that opens its own ports, or the one that is given them."""
    units = systemd.folder / "units"
    (units / f"headrace.service.{what}").rename(units / "headrace.service")
    systemd.ask("daemon-reload")


def time_of(port: int) -> str:
    with closing(Line("127.0.0.1", port, PATIENCE)) as line:
        return asked(line)


def asked(line: Line) -> str:
    line.send(b"TIME\r", PATIENCE)
    until = time.monotonic() + PATIENCE
    status = line.take_until(b"\r\n", until).decode()
    line.take_until(b"\r\n", until)
    return status


PLACE = """
[place.far]
base = "{url}"
user = "reader"
secret = "credential:{credential}"
"""


def test_a_service_that_is_watched_upgraded_and_stopped(tmp_path: Path, httpserver: HTTPServer) -> None:
    """Its secret is systemd's (systemd.exec(5), Credentials), and reaches the far server (RFC 7617)."""
    port = free_port()
    key = b64encode(f"reader:{SECRET}".encode()).decode()
    httpserver.expect_request("/one.txt", headers={"Authorization": f"Basic {key}"}).respond_with_data("one")
    place = PLACE.format(url=httpserver.url_for("/"), credential=CREDENTIAL)
    with managed(tmp_path, CATALOGUE.format(port=port) + place) as systemd:
        take(systemd, "service")
        systemd.ask("start", "headrace")  # which waits until it says that it is ready
        assert time_of(port).startswith("200 00001")
        with closing(Line("127.0.0.1", port, PATIENCE)) as line:
            line.send(b"TEXT far:one.txt\r", PATIENCE)
            assert line.take_until(b"\r\n", time.monotonic() + PATIENCE).startswith(b"200 00001")
            assert line.take_until(b"\r\n", time.monotonic() + PATIENCE).rstrip() == b"one"
        process = systemd.main()
        assert "0" not in process["Uid"].split()
        assert (process["NoNewPrivs"], process["Seccomp"], int(process["CapBnd"], 16)) == ("1", "2", 0)
        with closing(Line("127.0.0.1", port, PATIENCE)) as old:
            assert asked(old).startswith("200")
            before = systemd.told("MainPID")
            systemd.ask("kill", "--signal=USR2", "--kill-whom=main", "headrace")
            until(lambda: systemd.told("MainPID") != before)
            assert systemd.told("ActiveState") == "active"
            assert asked(old).startswith("200")
            assert time_of(port).startswith("200")
        assert systemd.told("NRestarts") == "0"
        before = systemd.told("MainPID")
        systemd.ask("kill", "--signal=STOP", "--kill-whom=main", "headrace")  # a loop that stands still
        until(lambda: systemd.told("NRestarts") == "1" and systemd.told("ActiveState") == "active")
        assert systemd.told("MainPID") != before
        with closing(Line("127.0.0.1", port, PATIENCE)) as line:
            assert asked(line).startswith("200")
            stopping = threading.Thread(target=systemd.ask, args=("stop", "headrace"))
            stopping.start()
            assert line.take_until(b"\r\n", time.monotonic() + PATIENCE).startswith(b"421")
        stopping.join()
        assert (systemd.told("ActiveState"), systemd.told("Result")) == ("inactive", "success")


def test_with_systemds_sockets_a_restart_refuses_nobody(tmp_path: Path) -> None:
    port = free_port()
    with managed(tmp_path, CATALOGUE.format(port=port)) as systemd:
        take(systemd, "activated")
        systemd.ask("start", "headrace.socket")
        assert systemd.told("ActiveState") == "inactive"
        assert time_of(port).startswith("200 00001")  # the first client is what starts it
        assert systemd.told("ActiveState") == "active"
        stop, faults = threading.Event(), list[str]()

        def visit() -> None:
            while not stop.is_set():
                try:
                    with closing(Line("127.0.0.1", port, PATIENCE)) as line:
                        line.take_until(b"\r\n", time.monotonic() + 0.01)
                except NothingCame:
                    pass
                except OSError as error:
                    faults.append(repr(error))

        visitor = threading.Thread(target=visit)
        visitor.start()
        before = systemd.told("MainPID")
        systemd.ask("restart", "headrace")
        stop.set()
        visitor.join()
        assert systemd.told("MainPID") != before
        assert faults == []
        assert time_of(port).startswith("200 00001")
        os.kill(systemd.process, signal.SIGKILL)
